"""How is a rack drawn, at any size: bins in section with what lives in them?"""
