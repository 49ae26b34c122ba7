"""Which policy is better, when, and why?"""
