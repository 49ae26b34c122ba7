"""What is in each bin today, and what comes?"""
