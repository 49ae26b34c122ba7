"""What lies in a results folder?"""
