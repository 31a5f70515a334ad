"""Readings, suspects and spans as an assessment shows them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.doubt import doubted, reason, shown_value
from wizard.diagnosis.evidence import DOUBTED
from wizard.diagnosis.faults import FREE_ENGINE, NEW_STARTER
from wizard.diagnosis.finding import drop_between, expected_bands, top_repair, trusted
from wizard.quantities import capitalised, show_against, show_amps, show_band, show_volts
from wizard.walk.assessment import JudgedReading, Judgement, Meaning, Remark, RepairOdds, SpanView, Suspect
from wizard.walk.case import Case, Taken
from wizard.walk.plausible import rises_under_load, shows_battery
from wizard.walk.retest import proved
from wizard.walk.state import Reading
from wizard.walk.undersized import undersized

# Suspects below this are not listed.
_LISTED = 0.005
# Above what a sound run loses by more than this much (in a 12 V system) and this many times is out of the ordinary.
_ABOVE_V, _ABOVE_TIMES = 0.02, 1.15
# A sound span that carries the current can't lose less than this share of the least it should, by so many volts.
_IDLE_SHARE, _IDLE_V = 0.3, 0.015
# The current is known when one standard deviation is no more than this share of it: a clamp, or two drops that agree.
_CURRENT_KNOWN = 0.16
# A cable of twice the area wins back this share of what it loses.
_TWICE_THE_AREA = 0.5
# A difference of two readings is judged when it is known to this much, in a 12 V system.
_BLURRED_V = 0.015


def judged_readings(case: Case) -> list[JudgedReading]:
    """Every reading of the job in order, those struck out and those before the last repair included."""
    cases: list[Case] = []
    at: Case | None = case
    while at is not None:
        cases.append(at)
        at = at.before
    judged: dict[int, JudgedReading] = {}
    for number, when in enumerate(cases):
        bands = expected_bands(when.belief, [t.measurement.what for t in when.taken])
        for taken, band in zip(when.taken, bands, strict=True):
            judged[taken.reading.number] = _judged(when, taken, band, earlier=number > 0)
    return [judged.get(r.number) or _struck(r) for r in case.state.readings]


def _judged(case: Case, taken: Taken, band: tuple[float, float], *, earlier: bool) -> JudgedReading:
    m, circuit = taken.measurement, case.desk.circuit
    acting_up = taken.reading.taken.acting_up if taken.away is None else True
    doubt = round(case.belief.doubt.get(m.number, 0.0), 4)
    before = True if earlier else None
    told = taken.reading.taken
    note = taken.reading.note or None
    if m.what.clamp:
        return JudgedReading(
            id=m.number,
            state=m.what.state,
            clamp=m.what.clamp,
            amps=m.value,
            expected_a=band,
            doubt=doubt,
            before_repair=before,
            acting_up=acting_up,
            note=note,
        )
    limit, judgement = case.desk.limits.judge(circuit, m.what.state, m.what.red, m.what.black, m.value)
    floor = case.desk.limits.floor_row(circuit, m.what.state, m.what.red, m.what.black)
    return JudgedReading(
        id=m.number,
        state=m.what.state,
        red=m.what.red,
        black=m.what.black,
        volts=m.value,
        open=True if m.value is None else None,
        range_v=None if told.minimum is None or told.maximum is None else (told.minimum, told.maximum),
        limit_v=limit,
        floor=True if floor else None,
        expected_v=band,
        judgement=judgement,
        meaning=None if floor else meaning_of(case.belief, judgement, m.value, band),
        doubt=doubt,
        before_repair=before,
        acting_up=acting_up,
        note=note,
    )


def _struck(reading: Reading) -> JudgedReading:
    taken = reading.taken
    value = float(taken.value) if taken.value != "open" else None
    return JudgedReading(
        id=reading.number,
        state=taken.state,
        red=taken.red,
        black=taken.black,
        clamp=taken.clamp,
        volts=None if taken.clamp else value,
        amps=value if taken.clamp else None,
        open=True if value is None else None,
        struck=True,
        note=reading.struck_why or reading.note or None,
    )


def suspects(case: Case) -> list[Suspect]:
    """Sites at fault by their odds, the likeliest first.

    After a proven repair a good crank says more of starter and engine than any odds: they are none any more.
    """
    belief = case.belief
    odds = belief.site_probability
    settled = (NEW_STARTER, FREE_ENGINE) if belief.evidence.turns_well and proved(case) else ()
    left = (number for number, site in enumerate(belief.model.sites) if site.repair not in settled)
    order = sorted(left, key=lambda number: -odds[number])
    listed: list[Suspect] = []
    for number in order[:12]:
        if odds[number] < _LISTED:
            break
        site = belief.model.sites[number]
        passive = site.part in belief.model.circuit.parts
        broken = passive and belief.open_share(number) > 0.5
        excess = belief.excess_ohm(number) if passive and not broken else None
        listed.append(
            Suspect(
                part=site.part,
                fault="open" if broken else site.fault,
                probability=float(odds[number]),
                excess_mohm=None
                if excess is None
                else (_milliohms(excess[0]), _milliohms(excess[1]), _milliohms(excess[2])),
                repair=belief.repair_of(site),
            )
        )
    return listed


def _milliohms(ohm: float) -> float:
    return round(ohm * 1e3, 3)


def repair_odds(case: Case) -> list[RepairOdds]:
    """Every repair with its odds to be the one to do first, which sum to 1, the likeliest first.

    What the readings show goes before what is as sure and not shown.
    """
    belief = case.belief
    first = case.found[0] if case.found else None
    odds = belief.repair_probability if first in (None, top_repair(belief)[0]) else belief.with_first(first)
    parts: dict[str, list[str]] = {name: [] for name in belief.repair_probability}
    for site in belief.model.sites:
        if site.part not in (own := parts[belief.repair_of(site)]):
            own.append(site.part)
    return [
        RepairOdds(repair=name, probability=share, parts=parts[name])
        for name, share in sorted(odds.items(), key=lambda pair: -pair[1])
    ]


def spans(case: Case) -> list[SpanView]:
    """Every part with what it loses where readings tell, what a sound one would, and what practice allows."""
    circuit, belief, limits = case.desk.circuit, case.belief, case.desk.limits
    odds = {site.part: float(p) for site, p in zip(belief.model.sites, belief.site_probability, strict=True)}
    ends: list[tuple[str, str, str]] = []
    for name, passive in circuit.parts.items():
        start, end = passive.part.between
        if belief.model.healthy_volts(Observable("cranking", start, end)) < 0:
            start, end = end, start
        ends.append((name, start, end))
    measurements = trusted(belief)
    bands = expected_bands(belief, [Observable("cranking", start, end) for _, start, end in ends])
    views: list[SpanView] = []
    for (name, start, end), band in zip(ends, bands, strict=True):
        drop = drop_between(measurements, start, end, belief.model.priors.crank_change)
        lost = None if drop is None else drop.volts
        limit, judgement = limits.judge(circuit, "cranking", start, end, lost)
        # A small difference of two large readings from two cranks is told, and not judged.
        told = drop is not None and drop.spread_v <= max(_BLURRED_V * circuit.scale, 0.25 * abs(lost or 0.0))
        views.append(
            SpanView(
                part=name,
                start=start,
                end=end,
                expected_v=band,
                limit_v=limit,
                lost_v=lost,
                lost_by=list(drop.numbers) if drop else [],
                judgement=judgement if told else "not-judged",
                meaning=meaning_of(belief, judgement, lost, band) if told else None,
                probability=odds.get(name, 0.0),
            )
        )
    return views


def remarks(case: Case, readings: Sequence[JudgedReading], views: Sequence[SpanView]) -> list[Remark]:
    """What the user should know about the readings themselves, and what they say beside the finding."""
    return [*_of_readings(case), *_in_doubt(case), *_too_small(case, readings, views), *_watched(case, views)]


def _of_readings(case: Case) -> Iterator[Remark]:
    """Readings that can hardly be meant as they stand, or that make the others mean little."""
    belief, circuit = case.belief, case.desk.circuit
    resting: tuple[int, float] | None = None
    for taken in case.taken:
        m, what = taken.measurement, taken.measurement.what
        if taken.swapped:
            yield _remark(
                f"Reading {m.number} has the wrong sign: red and black look swapped. It is taken as "
                f"{show_volts(m.value or 0.0)}.",
                m.number,
            )
        if what.clamp or m.value is None:
            continue
        row = case.desk.limits.floor_row(circuit, what.state, what.red, what.black)
        if row == "battery-resting":
            resting = m.number, m.value
        if resting is not None and rises_under_load(circuit, what, resting[1], m.value):
            yield _remark(
                f"Reading {m.number}: the battery shows {show_volts(m.value)} with start held and "
                f"{show_volts(resting[1])} at rest. Was start held? Take it again.",
                m.number,
            )
        if row == "battery-resting" and circuit.system_v == 24 and 11.0 <= m.value <= 13.5:
            yield _remark(
                f"Reading {m.number} ({show_volts(m.value)}) is one battery of the two: put the leads on the posts at "
                "the ends of the pair.",
                m.number,
            )
        elif row == "battery-resting" and m.value < case.desk.limits.floor(circuit, row)[1]:
            yield _remark(
                f"The battery rests at {show_volts(m.value)} (reading {m.number}): charge it before the other "
                "readings are trusted.",
                m.number,
            )
        whole = shows_battery(circuit, what, belief.model.healthy_volts(what), m.value)
        if whole and belief.doubt.get(m.number, 0.0) < DOUBTED:
            contacts = circuit.map.solenoid.contacts in (circuit.path(what.red, what.black) or ())
            or_else = ", or the contacts never closed" if contacts else ""
            yield _remark(
                f"Reading {m.number} shows the whole battery ({show_volts(m.value)}): the span is open{or_else}.",
                m.number,
            )


def _in_doubt(case: Case) -> Iterator[Remark]:
    belief = case.belief
    for m in doubted(belief):
        again = [
            t.measurement.number
            for t in case.taken
            if t.measurement.what == m.what and t.measurement.context == m.context
        ]
        again = [number for number in again if number > m.number and belief.doubt.get(number, 0.0) < DOUBTED]
        if again:
            said = f"is set aside: it was read again as {again[-1]}."
            yield _remark(f"Reading {m.number} ({shown_value(m)}) {said}", m.number, again[-1])
        else:
            said = f"does not fit: {reason(belief, m)}. Check the leads, the points and the load, and take it again."
            yield _remark(f"Reading {m.number} ({shown_value(m)}) {said}", m.number)


def _remark(text: str, *numbers: int) -> Remark:
    return Remark(about="reading", text=text, readings=numbers)


def _too_small(case: Case, readings: Sequence[JudgedReading], views: Sequence[SpanView]) -> Iterator[Remark]:
    """Sound cables that are too small for their length, or the run that is."""
    circuit = case.desk.circuit
    over = [r for r in readings if r.meaning == "too-small" and r.counts]
    ids = tuple(r.id for r in over)
    past_v = max(((r.volts or 0.0) - (r.limit_v or 0.0) for r in over), default=0.0)
    at = f"at about {show_amps(case.belief.current_a[0])}"
    for small in undersized(circuit, readings, views):
        part = circuit.parts[small.part].part
        lost, allowed = show_against(small.sound_v, small.limit_v)
        if small.alone:
            said = (
                f"{capitalised(part.label)} is too small for its length: {at} sound {part.size} loses about {lost} "
                f"and practice allows {allowed}. A larger one wins volts back."
            )
        else:
            numbers = f"{'reading' if len(ids) == 1 else 'readings'} {' and '.join(map(str, ids))}"
            said = (
                f"Over the limit, yet as sound parts of these sizes read {at} ({numbers}): the run as a whole is "
                f"too small for its length. A larger cable in place of the {part.label} wins most volts back"
                f"{'' if past_v < _TWICE_THE_AREA * small.sound_v else ', and alone not enough'}."
            )
        text = f"{said} Where the maker fitted this size, the maker's figure wins.{_keep_looking(case)}"
        yield Remark(about="cable", text=text, readings=ids, part=small.part)


def _keep_looking(case: Case) -> str:
    """A cable that was always too small is not what has changed."""
    complaint = case.state.complaint
    if case.found is not None or proved(case):
        return ""
    if complaint is not None and complaint.intermittent:
        return " Keep looking for what comes and goes."
    return " If it was always there, it is not what has changed: keep looking."


def _watched(case: Case, views: Sequence[SpanView]) -> Iterator[Remark]:
    """Parts within their limit that lose many times what a sound one would, or next to nothing."""
    for view in views:
        if view.meaning == "idle" and view.lost_v is not None:
            label = case.desk.circuit.parts[view.part].part.label
            text = (
                f"Hardly any current goes through the {label}: it loses {show_volts(view.lost_v)} where a sound one "
                f"loses {show_band(*view.expected_v)}. Is start held, and is what leads to it whole?"
            )
            yield Remark(about="reading", text=text, readings=tuple(view.lost_by))
        if view.meaning == "watch" and view.lost_v is not None:
            label = capitalised(case.desk.circuit.parts[view.part].part.label)
            text = (
                f"{label} loses {show_volts(view.lost_v)}: within the limit, but a sound one loses "
                f"{show_band(*view.expected_v)}. Trouble starts like this, and a fault that comes and goes hides here."
            )
            yield Remark(about="watch", text=text, readings=tuple(view.lost_by), part=view.part)


def meaning_of(
    belief: Belief, judgement: Judgement, volts: float | None, expected: tuple[float, float]
) -> Meaning | None:
    """Limit against expected: the four cases, and no current. None where no limit applies or the drop can't be told.

    Over the limit and yet as sound parts read is told only once the current is known: else much that is wrong would
    pass for a heavy current.
    """
    if judgement == "not-judged" or volts is None:
        return "fault" if judgement == "over" else None
    scale = belief.model.circuit.scale
    above = volts > expected[1] + _ABOVE_V * scale and volts > _ABOVE_TIMES * expected[1]
    if judgement == "within":
        idle = expected[0] - volts >= _IDLE_V * scale and volts < _IDLE_SHARE * expected[0]
        return "watch" if above else "idle" if idle else "sound"
    if above:
        return "fault"
    middle, spread = belief.current_a
    # Nor is a cable too small at a current that no healthy engine takes: a starter that stands still draws it.
    known = spread <= _CURRENT_KNOWN * middle and middle <= belief.model.circuit.demand_a[2]
    return "too-small" if known else None
