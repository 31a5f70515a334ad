"""A terminal wizard for finding and proving voltage drops in starting circuits."""

__version__ = "0.1.0"
