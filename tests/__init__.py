"""Tests, and the simulated vehicles that they share."""
