"""Verification of the model: one class per scientific claim, each with a numeric pass or fail.

Run `python -m tests.verification --list` from the root of the repository.
"""
