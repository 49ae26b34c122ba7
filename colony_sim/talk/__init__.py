"""How do slides become a talk?"""
