"""Colours of the screens: bare copper on graphite for the bay, ink on paper for sunlight."""

from __future__ import annotations

from textual.theme import Theme

GRAPHITE = Theme(
    name="graphite",
    primary="#d9935a",
    secondary="#8fa3b0",
    accent="#d9935a",
    foreground="#e9e4da",
    background="#16181a",
    surface="#1d2023",
    panel="#2a2e32",
    success="#9cbf7f",
    warning="#e3bd55",
    error="#f0806a",
    dark=True,
)
PAPER = Theme(
    name="paper",
    primary="#8a4a16",
    secondary="#44525c",
    accent="#8a4a16",
    foreground="#1b1b19",
    background="#f6f2e8",
    surface="#ece6d8",
    panel="#ddd5c3",
    success="#2f6420",
    warning="#7a5600",
    error="#a3200f",
    dark=False,
)
