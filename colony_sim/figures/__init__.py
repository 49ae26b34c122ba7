"""What does a slide look like?"""
