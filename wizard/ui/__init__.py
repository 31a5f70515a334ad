"""Screens and widgets; the only place that knows textual."""
