"""What is in each bin today, and what comes? A keeper's log, lived again by possible colonies."""
