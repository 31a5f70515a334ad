"""Text made to fit its column, in characters that every terminal and every reader aloud knows."""

from __future__ import annotations

from textual.content import Content

_CUT = ".."
# Columns that a shortened name of a point still has.
_LEAST_NAME = 6


def cut(text: str, width: int) -> str:
    """The text in exactly this many columns."""
    return text.ljust(width) if len(text) <= width else f"{text[: max(0, width - len(_CUT))]}{_CUT}"[:width]


def within(content: Content, width: int, height: int, rest: Content) -> Content:
    """The content in no more than so many lines; where there are more, `rest` is the last and says where they are."""
    # No width or height before the first layout.
    lines = content.wrap(width) if width > 0 else []
    if not 0 < height < len(lines):
        return content
    return Content("\n").join([*lines[: height - 1], rest])


def shortened(text: str, width: int) -> str:
    """The text in no more than this many columns."""
    return cut(text, width).rstrip()


def two_in(one: str, other: str, width: int) -> str:
    """`one to other` in no more than this many columns.

    Where there is no room for both names, the shorter is the one kept whole.
    """
    room = width - len(" to ")
    kept = min(len(one), len(other), room - _LEAST_NAME)
    of_one, of_other = (kept, room - kept) if len(one) < len(other) else (room - kept, kept)
    return f"{shortened(one, of_one)} to {shortened(other, of_other)}"
