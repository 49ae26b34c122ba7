"""What is to be done on which day?"""
