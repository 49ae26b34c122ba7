"""What does a keeper’s log tell about this colony?"""
