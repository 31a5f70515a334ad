"""Text made to fit its column, in characters that every terminal and every reader aloud knows."""

from __future__ import annotations

_CUT = ".."


def cut(text: str, width: int) -> str:
    """The text in exactly this many columns."""
    return text.ljust(width) if len(text) <= width else f"{text[: max(0, width - len(_CUT))]}{_CUT}"[:width]


def shortened(text: str, width: int) -> str:
    """The text in no more than this many columns."""
    return cut(text, width).rstrip()
