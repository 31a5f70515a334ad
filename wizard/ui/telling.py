"""What was just read, taken or taken back, said in one line."""

from __future__ import annotations

from typing import Literal

from textual.content import Content

from wizard.quantities import show_amps, show_volts
from wizard.ui.reading_text import Typed
from wizard.ui.readings_page import with_unit
from wizard.ui.target import Target
from wizard.walk.assessment import Assessment, JudgedReading
from wizard.walk.drawing import short_name, verdict
from wizard.walk.events import (
    Answered,
    CautionsRead,
    CostStruck,
    Cranked,
    Described,
    Event,
    FailsNow,
    FollowUp,
    Jumped,
    JumpStruck,
    LabourPriced,
    MinutesLogged,
    Noted,
    OutOfReach,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    Renamed,
    Repaired,
    RepairStruck,
    Started,
    StartSeen,
    StartStruck,
    TakenBack,
)


def where(target: Target) -> str:
    """Where a reading is taken."""
    if target.clamp is not None:
        return f"amps through {short_name(target.clamp)}"
    return f"{short_name(target.red or '')} to {short_name(target.black or '')}"


def show_value(value: float | Literal["open"], *, clamp: bool) -> str:
    """A reading's value with its unit."""
    return "open" if value == "open" else show_amps(value) if clamp else show_volts(value)


def show_typed(typed: Typed, *, clamp: bool) -> str:
    """What was typed, with its unit: of several cranks, the least and the most."""
    if typed.minimum is None or typed.maximum is None:
        return show_value(typed.value, clamp=clamp)
    return f"{show_value(typed.minimum, clamp=clamp)} to {show_value(typed.maximum, clamp=clamp)}"


def judged(reading: JudgedReading, assessment: Assessment, marked: bool | None) -> Content:
    """A reading just taken, how it stands to its limit, its mark, and the first remark that speaks of it.

    `marked` says that it was taken while the fault showed itself, or while it did not; None when neither was said.
    """
    word = verdict(reading.judgement, reading.meaning, floor=bool(reading.floor))
    shown = with_unit(reading)
    said = f"  {word.mark} {word.value}" if word.value else ""
    bound = "at least" if reading.floor else "limit"
    limit = f"  {bound} {show_volts(reading.limit_v)}" if reading.limit_v is not None else ""
    mark = "" if marked is None else "  marked: while it failed" if marked else "  marked: it did not fail"
    said_of_it = next((remark.text for remark in assessment.remarks if reading.id in remark.readings), None)
    warning = f"  ! {said_of_it}" if said_of_it else ""
    return Content.assemble((f"{shown}{said}", "bold"), (limit, "$secondary"), mark, (warning, "bold $warning"))


def undone(event: Event) -> str:
    """A deed that is taken back, in a few words."""
    match event:
        case ReadingTaken():
            target = Target(event.state, event.red, event.black, event.clamp)
            instead = "" if event.instead_of is None else f", in place of reading {event.instead_of}"
            return f"the reading {show_value(event.value, clamp=event.clamp is not None)} {where(target)}{instead}"
        case ReadingStruck():
            return f"that reading {event.reading} was taken back"
        case Answered():
            return f"the answer {short_name(event.choice)}"
        case Repaired():
            return f"the repair {short_name(event.repair)}"
        case Jumped():
            return f"the jump to {short_name(event.step)}"
        case OutOfReach():
            return f"that {short_name(event.point)} {'can' if event.reachable else 'can not'} be reached"
        case FailsNow():
            return "that it fails now" if event.fails else "that it fails no more"
        case CautionsRead():
            return "that the cautions were read and done, so they come up again"
        case Cranked():
            return f"the timed crank of {event.seconds:.0f} s"
        case Noted():
            return f"the note: {event.text}"
        case Described():
            return "what was changed in the complaint or the vehicle"
        case Renamed():
            return f"the new title {event.title}"
        case MinutesLogged():
            return f"{event.minutes:g} min of labour"
        case PartPriced():
            return f"the price of {event.what}"
        case LabourPriced():
            return f"{event.per_hour:g} for an hour of labour"
        case StartSeen():
            good = "good" if event.good else "failed"
            return f"{event.times} {good} {'start' if event.times == 1 else 'starts'}, {event.engine} engine"
        case FollowUp():
            return f"that the follow-up was {'opened again' if event.open else 'ended'}"
        case StartStruck() | CostStruck():
            of = "starts" if isinstance(event, StartStruck) else "costs"
            return f"that entry {event.entry} of the {of} was taken back"
        case RepairStruck() | JumpStruck():
            return f"that the {'repair' if isinstance(event, RepairStruck) else 'jump'} was taken back"
        case Started() | TakenBack():
            raise ValueError(f"{event.kind} is not taken back")
