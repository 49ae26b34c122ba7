"""What does one read and keep?"""
