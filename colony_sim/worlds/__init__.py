"""Which sets of values and structures does the literature allow?"""
