"""What did one run come to?"""
