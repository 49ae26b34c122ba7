"""Benchmarks: each compares two things in one run. ``python -m tests.benchmarks NAME``."""
