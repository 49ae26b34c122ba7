"""How many bins, when, and does it suffice?"""
