"""How is a number or a finding said?"""
