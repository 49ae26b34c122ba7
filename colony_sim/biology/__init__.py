"""What is a rate, a hazard, a threshold?"""
