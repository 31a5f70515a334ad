"""What was just read, taken or taken back, said in one line."""

from __future__ import annotations

from typing import Literal

from textual.content import Content

from wizard.quantities import show_amps, show_volts
from wizard.ui.readings_page import DOUBTED
from wizard.ui.target import Target
from wizard.walk.assessment import Assessment, JudgedReading
from wizard.walk.drawing import short_name, verdict
from wizard.walk.events import Answered, Event, Jumped, OutOfReach, ReadingTaken, Repaired


def where(target: Target) -> str:
    """Where a reading is taken."""
    if target.clamp is not None:
        return f"amps through {short_name(target.clamp)}"
    return f"{short_name(target.red or '')} to {short_name(target.black or '')}"


def show_value(value: float | Literal["open"], *, clamp: bool) -> str:
    """A reading's value with its unit."""
    return "open" if value == "open" else show_amps(value) if clamp else show_volts(value)


def judged(reading: JudgedReading, assessment: Assessment) -> Content:
    """A reading just taken, how it stands to its limit, and the first warning that goes with it."""
    word = verdict(reading.judgement, reading.meaning, floor=bool(reading.floor))
    value = reading.volts if reading.clamp is None else reading.amps
    shown = show_value("open" if value is None else value, clamp=reading.clamp is not None)
    said = f"  {word.mark} {word.value}" if word.value else ""
    bound = "at least" if reading.floor else "limit"
    limit = f"  {bound} {show_volts(reading.limit_v)}" if reading.limit_v is not None else ""
    if assessment.warnings:
        warning = f"  ! {assessment.warnings[0]}"
    else:
        warning = "  ! In doubt: read it again." if reading.doubt >= DOUBTED else ""
    return Content.assemble((f"{shown}{said}", "bold"), (limit, "$secondary"), (warning, "bold $warning"))


def undone(event: Event) -> str:
    """A deed that was taken back."""
    if isinstance(event, ReadingTaken):
        target = Target(event.state, event.red, event.black, event.clamp)
        return f"{show_value(event.value, clamp=event.clamp is not None)} {where(target)}"
    match event:
        case Answered():
            return f"the answer {short_name(event.choice)}"
        case Repaired():
            return f"the repair {short_name(event.repair)}"
        case Jumped():
            return f"the jump to {short_name(event.step)}"
        case OutOfReach():
            return f"that {short_name(event.point)} {'can' if event.reachable else 'can not'} be reached"
        case _:
            return event.kind
