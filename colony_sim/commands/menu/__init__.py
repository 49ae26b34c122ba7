"""What can be typed: commands and their options; heavy modules are imported inside only."""
