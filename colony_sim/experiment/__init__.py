"""What is asked: policies, designs, seeds, profiles?"""
