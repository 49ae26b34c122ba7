"""What does a talk say first, one idea a slide?"""
