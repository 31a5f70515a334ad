"""What was typed for a reading: its value, and a question where it can't be meant as it stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wizard.quantities import (
    UNLIKE_ENDS,
    capitalised,
    middle,
    parse_number,
    parse_quantity,
    range_ends,
    range_hint,
    says_open,
    show_amps,
    show_volts,
)

# No reading of a sound or a broken circuit passes this many times the system's volts.
_MOST_OF_SYSTEM = 2.5
_MOST_AMPS = 3000.0


@dataclass(frozen=True)
class Typed:
    """A value in volts (amps for a clamp) or `open`; with a question, it is taken only once that is confirmed.

    `minimum` and `maximum` are those of several cranks; the value is their middle.
    """

    value: float | Literal["open"]
    question: str = ""
    minimum: float | None = None
    maximum: float | None = None


def read_typed(text: str, system_v: float, *, clamp: bool = False) -> Typed:
    """Read `0.7`, `700 mV`, `,7`, `open`, `0.5-0.7`, `0.5 to 0.7` or, around a clamp, `165 A`.

    A negative value means swapped leads and a bare number far too large means millivolts; both come back put
    right, with the question to ask. Raises ValueError that says what to type.
    """
    text = text.strip()
    if not text:
        raise ValueError(
            "Type what the meter shows, such as 165" if clamp else "Type what the meter shows, such as 0.35"
        )
    if says_open(text):
        if clamp:
            raise ValueError("A clamp meter reads amps; type 0 if it shows none")
        return Typed("open")
    if not any(character.isdigit() for character in text):
        raise ValueError(f"`{text}` is no reading. Esc empties the line; then type what the meter shows, or one key")
    try:
        value = parse_quantity(text, "amps" if clamp else "volts", bare=1.0)
    except ValueError as error:
        if ends := range_ends(text):
            return _range(ends, system_v, clamp)
        raise ValueError(f"{capitalised(str(error))}{range_hint(text)}") from None
    return _amps(value) if clamp else _volts(text, value, system_v)


def _range(ends: tuple[str, str], system_v: float, clamp: bool) -> Typed:
    """The least and the most of several cranks."""
    one, other = (read_typed(end, system_v, clamp=clamp) for end in ends)
    if bool(one.question) is not bool(other.question):
        raise ValueError(capitalised(UNLIKE_ENDS))
    low, high = sorted((float(one.value), float(other.value)))
    question = f"{one.question} {other.question}".strip()
    return Typed(middle(low, high), question, low, high)


def _amps(value: float) -> Typed:
    if abs(value) > _MOST_AMPS:
        raise ValueError(f"{show_amps(value)} is more than any starter draws; check the meter's range")
    if value < 0:
        return Typed(
            -value,
            f"{show_amps(value)}: the clamp is around the cable the other way. Take it as {show_amps(-value)}?",
        )
    return Typed(value)


def _volts(text: str, value: float, system_v: float) -> Typed:
    most = _MOST_OF_SYSTEM * system_v
    if abs(value) > most:
        if _is_bare(text) and abs(value) / 1000.0 <= most:
            shown = f"{text.lstrip('+-')} mV"
            return Typed(abs(value) / 1000.0, f"{text} V is not possible here. Take it as {shown}?")
        raise ValueError(f"{value:g} V is not possible on a {system_v:g} V system; check the meter's range")
    if value < 0:
        return Typed(-value, f"{show_volts(value)}: red and black are swapped. Take it as {show_volts(-value)}?")
    return Typed(value)


def _is_bare(text: str) -> bool:
    try:
        parse_number(text)
    except ValueError:
        return False
    return True
