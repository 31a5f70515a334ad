"""Simulated vehicles with a meter, for the demo and for teaching."""
