"""Do published experiments come out?"""
