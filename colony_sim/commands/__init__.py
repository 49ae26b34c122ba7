"""What does the user type?"""
