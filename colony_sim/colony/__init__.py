"""Which bin, which rule of the keeper’s?"""
