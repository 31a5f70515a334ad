"""What is heard when start is held: the words of the complaint."""

from __future__ import annotations

from enum import StrEnum


class Heard(StrEnum):
    """What the starter does while start is held, in the words of the complaint."""

    CRANKS_NORMALLY = "cranks-normally"
    CRANKS_SLOWLY = "cranks-slowly"
    ONE_CLICK = "one-click"
    RAPID_CLICKS = "rapid-clicks"
    NO_CLICK = "no-click"


HEARD: tuple[Heard, ...] = tuple(Heard)
