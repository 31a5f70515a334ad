"""A repair in words, the same on the screen and on paper: effort, sizes, what is predicted, what was fitted, starts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from wizard.circuit.circuit import Circuit
from wizard.circuit.conductors import Conductor
from wizard.circuit.map import PartChange
from wizard.errors import DropwalkError
from wizard.quantities import (
    capitalised,
    printable,
    show_against,
    show_amps,
    show_band,
    show_length,
    show_minutes,
    show_share,
    show_temperature,
    show_volts,
)
from wizard.repair.predict import Foreseen
from wizard.repair.sizing import (
    COPPER_CLAD_WARNING,
    INSULATION_C,
    Candidate,
    Duty,
    Replacement,
    laid_beside,
    replacement,
)
from wizard.walk.assessment import Assessment, SpanView
from wizard.walk.desk import Desk
from wizard.walk.follow_up import FollowUpView
from wizard.walk.proof import Foretold
from wizard.walk.undersized import Undersized, undersized

# A line about sizes: what it is about and what is said. What holds for all of them is about nothing; `-` is advice, and
# `!` says why nothing can be said.
SizeLine = tuple[str, str]
MARKS = ("-", "!")
# Lengths that a new cable beside a body or an engine comes to.
_LENGTHS_M = (0.5, 1.0, 2.0, 3.0, 4.0)


def effort_words(minutes: float, cost: float) -> str:
    """The usual time and the cost of material, as the circuit's map has them; nothing where it says no time."""
    material = f", material about {cost:g} (your currency; the map's figure)" if cost else ""
    return f"Usual time {show_minutes(minutes)}{material}." if minutes else ""


def size_lines(desk: Desk, found: Assessment, part: str, *, inch: bool = False) -> list[SizeLine]:
    """All about the size of one cable or strap: what it has to carry, what it loses now, and each size to choose."""
    span = next((span for span in found.spans if span.part == part), None)
    motor_a = sum(found.current_a) / 2 if found.current_a else None
    try:
        sized = replacement(
            desk.circuit, desk.limits, part, lost_v=span.lost_v if span is not None else None, motor_a=motor_a
        )
    except DropwalkError as error:
        return [("!", printable(str(error)))]
    small = next((cable for cable in undersized(desk.circuit, found.readings, found.spans) if cable.part == part), None)
    return [*(_small(small) if small else ()), *_lines(sized, span, inch)]


def _small(small: Undersized) -> Iterator[SizeLine]:
    lost, allowed = show_against(small.sound_v, small.limit_v)
    if small.alone:
        yield "!", f"Sound, and too small for its length: it loses about {lost} and {allowed} may be lost."
    else:
        yield (
            "!",
            f"Sound, as is all of its run, which is too small for its length. This cable loses most, about {lost}.",
        )


def _lines(sized: Replacement, span: SpanView | None, inch: bool) -> Iterator[SizeLine]:
    duty = sized.duty
    hottest = show_temperature(INSULATION_C, inch=inch)
    length = show_length(duty.length_m, inch=inch)
    yield "", f"{length} long; {show_volts(duty.allowed_v)} may be lost in it and {hottest} reached."
    yield from _loads(duty, inch)
    yield "Now", _now(span)
    yield "Map", size_words(sized.standard, duty, inch=inch)
    if (sized.fitted.size, sized.fitted.conductor) != (sized.standard.size, sized.standard.conductor):
        yield "Here", size_words(sized.fitted, duty, inch=inch)
    yield from (("To fit", size_words(choice, duty, inch=inch)) for choice in sized.choices)
    yield from (("Too small", size_words(small, duty, inch=inch)) for small in sized.too_small if not small.fits)
    yield from (("", line) for line in sized.ends)
    yield from (("-", line) for line in sized.advice)


def _loads(duty: Duty, inch: bool) -> Iterator[SizeLine]:
    """What is meant by at worst and by today."""
    start = show_temperature(duty.around_c, inch=inch)
    worst = f"{show_amps(duty.current_a)} for {duty.seconds:g} s, starting from {start}, with no heat lost"
    yield "", f"At worst: {worst}."
    if duty.today_a is not None:
        where = f"about {show_amps(duty.today_a)} and {show_temperature(duty.air_c, inch=inch)}"
        yield "", f"Today: what a meter reads across a sound one in this vehicle, at {where}."


def laid_lines(desk: Desk, found: Assessment, part: str, *, inch: bool = False) -> list[SizeLine]:
    """Sizes of a new cable to be laid beside a part, by how long it comes to be."""
    motor_a = sum(found.current_a) / 2 if found.current_a else None
    lengths = tuple(0.0254 * n for n in (20, 40, 80, 120, 160)) if inch else _LENGTHS_M
    choices = laid_beside(desk.circuit, desk.limits, part, lengths, motor_a)
    lines: list[SizeLine] = [("", "By how long it comes to be, as it will lie."), *_loads(choices[0].duty, inch)]
    for laid in choices:
        sizes = [size_words(tried, laid.duty, inch=inch) for tried in (laid.metric, laid.gauge) if tried is not None]
        length = show_length(laid.duty.length_m, inch=inch)
        lines += [(length, said) for said in sizes or ["no standard size does; lay two side by side"]]
    return [*lines, ("-", f"The maker's size wins where it is larger. {COPPER_CLAD_WARNING}")]


def _now(span: SpanView | None) -> str:
    if span is None or span.lost_v is None:
        return "not measured alone"
    numbers = " and ".join(map(str, span.lost_by))
    how = f"reading {numbers}" if len(span.lost_by) == 1 else f"readings {numbers}"
    return f"loses {show_volts(span.lost_v)} ({how})"


def size_words(tried: Candidate, duty: Duty, *, inch: bool = False) -> str:
    """A size with what it loses today and at worst, and either how hot it then is or why it will not do."""
    lost, allowed = show_against(tried.drop_v, duty.allowed_v)
    today = f"{show_volts(tried.today_v)} today, " if tried.today_v is not None else ""
    words = f"{tried.size} {metal_words(tried.conductor)}: {today}{lost} at worst"
    hot = show_temperature(round(tried.end_c), inch=inch)
    if tried.fits:
        return f"{words}, {hot}"
    # What is told from the limit only by more decimals shows them.
    much = "too much" if allowed == show_volts(duty.allowed_v) else f"more than {allowed}"
    return f"{words}: " + " and ".join(
        text for bad, text in ((not tried.keeps_drop, much), (not tried.stays_cool, f"{hot} is too hot")) if bad
    )


def metal_words(conductor: Conductor) -> str:
    """A conductor's metal as it is read."""
    return str(conductor).replace("-", " ")


def foreseen_words(circuit: Circuit, told: Foretold) -> tuple[str, str]:
    """What a reading will be after the repair, nine times in ten, and across what."""
    what, points = told.what, circuit.map.points
    if what.clamp:
        where = f"amps through {circuit.parts[what.clamp].part.label}"
    else:
        state = "" if what.state == "cranking" else ", at rest"
        where = f"{points[what.red].label} to {points[what.black].label}{state}"
    return (band_words(told.band) if told.band else "not foretold"), printable(where)


def band_words(band: Foreseen) -> str:
    """What a reading lies between, nine times in ten."""
    return f"{band.low:.0f} to {show_amps(band.high)}" if band.what.clamp else show_band(band.low, band.high)


def fitted_words(was: Circuit, name: str, change: PartChange) -> str:
    """What a repair put in, and what was there."""
    part = was.parts[name].part
    told = [f"{change.length_m:g} m" if change.length_m else "", str(change.size or "")]
    told.append(metal_words(change.conductor or part.conductor) if change.size else "")
    told.append(f"{change.resistance_mohm:g} mohm" if change.resistance_mohm else "")
    before = f", {part.size} {metal_words(part.conductor)} before" if part.size else ""
    return f"{capitalised(printable(part.label))}: {' '.join(text for text in told if text)} fitted{before}."


def follow_up_words(view: FollowUpView, unsettled: Sequence[str]) -> str:
    """How far the counting of starts has come, in sentences; `unsettled` is what the last repair's proof leaves open.

    Good starts alone don't make a fault gone that readings still show.
    """
    told = _how_far(view, unsettled)
    if not told:
        return ""
    early = _by_day(day for tally in view.tallies for day in tally.early)
    crowded = _by_day(view.tallies[0].crowded)
    if early:
        told += f" Counted as before the repair, for their day is before its day: {early}."
    return f"{told} More starts are counted as cold than an engine is in a day: {crowded}." if crowded else told


def _by_day(days: Iterable[tuple[date, int]]) -> str:
    return "; ".join(f"{times} on {day}" for day, times in days)


def _how_far(view: FollowUpView, unsettled: Sequence[str]) -> str:
    rows = "; ".join(
        f"{tally.engine}: {tally.in_a_row} of {tally.needed_sure}"
        for tally in view.tallies
        if tally.needed_sure is not None
    )
    match view.status:
        case "no-repair":
            return ""
        case "uncounted":
            shown = [
                f"{tally.in_a_row} with a {tally.engine} engine, so at least {show_share(tally.reliability)} are"
                for tally in view.tallies
                if tally.in_a_row
            ]
            since = f" Good in a row so far, 90 % sure: {'; '.join(shown)}." if shown else ""
            return f"Nobody counted how often it failed before, so no number can show that it is gone.{since}"
        case "counting":
            return f"Good starts in a row so far, of those needed to be 95 % sure that it is gone: {rows}."
        case "shown" if unsettled:
            return (
                f"{' '.join(unsettled)} So it is not shown to be gone, though enough good starts were counted: {rows}."
            )
        case "shown":
            return f"Enough good starts in a row to be 95 % sure that it is gone: {rows}."
        case "failed-again":
            return "It failed to start again after the repair: the fault is not gone."
        case "closed":
            short = "" if view.enough else f" {view.short_of}"
            return f"The follow-up was closed{f' at {rows} good starts' if rows else ''}.{short}"
