"""How odds are said and drawn: a word, and a bar of plain characters.

Both go by the figure that is printed beside them, to two decimals: the same figure has the same word everywhere.
"""

from __future__ import annotations

# Odds below this would be printed as 0.00, and are left out of lists.
LEAST_SHOWN = 0.005
# The least printed odds that each word stands for.
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
    return next(word for least, word in _WORDS if round(probability, 2) >= least)


def odds_bar(probability: float, width: int = 10) -> str:
    """`######....` for 0.6; never empty of `#` for anything that would be printed as more than 0.00."""
    full = round(round(probability, 2) * width)
    if full == 0 and probability >= LEAST_SHOWN:
        full = 1
    return "#" * full + "." * (width - full)
