"""Who may ask a page that this machine serves?"""
