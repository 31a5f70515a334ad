"""What to do about it: advice, and proof after the repair."""
