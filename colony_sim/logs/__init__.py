"""What did the keeper write down, and what does living it again show?"""
