"""What do paired runs tell, and how surely?"""
