"""Who lives the runs, and where are they kept?"""
