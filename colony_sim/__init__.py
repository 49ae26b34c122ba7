"""Individual-based simulator of a yellow mealworm colony kept in bins."""

__version__ = "0.1.0"
