"""What the readings mean: faults, belief, the next test, findings."""
