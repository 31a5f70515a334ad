"""How odds are said and drawn: a word, and a bar of plain characters."""

from __future__ import annotations

# The least probability that each word stands for.
_WORDS = (
    (0.95, "almost sure"),
    (0.80, "very likely"),
    (0.50, "likely"),
    (0.20, "possible"),
    (0.05, "less likely"),
    (0.00, "unlikely"),
)


def odds_word(probability: float) -> str:
    """The word for a probability between 0 and 1."""
    return next(word for least, word in _WORDS if probability >= least)


def odds_bar(probability: float, width: int = 10) -> str:
    """`######....` for 0.6; never empty of `#` for anything that would be printed as more than 0.00."""
    full = round(probability * width)
    if full == 0 and probability >= 0.005:
        full = 1
    return "#" * full + "." * (width - full)
