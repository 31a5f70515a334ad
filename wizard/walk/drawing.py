"""The circuit drawn as a run of points and parts, with the leads on them and every drop known so far."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from wizard.circuit.circuit import Circuit, PassivePart
from wizard.circuit.map import Side
from wizard.quantities import show_band, show_volts
from wizard.walk.assessment import Assessment, Band, JudgedReading, Meaning, SpanView


class Section(StrEnum):
    """The stretch of the circuit that a row belongs to."""

    POSITIVE = "positive side"
    STARTER = "starter"
    GROUND = "ground side"
    BESIDE = "beside it, in parallel"
    CONTROL = "control side"


class Verdict(StrEnum):
    """What is said of a drop, each with a mark of its own so that nothing depends on colour."""

    UNKNOWN = ""
    SOUND = "ok"
    WATCH = "watch"
    IDLE = "no amps"
    TOO_SMALL = "too small"
    MARGINAL = "marginal"
    OVER = "over"
    TOO_LOW = "too low"
    ROUGH = "rough"

    @property
    def mark(self) -> str:
        return _MARKS[self]


_MARKS = {
    Verdict.UNKNOWN: " ",
    Verdict.SOUND: "=",
    Verdict.WATCH: "^",
    Verdict.IDLE: "-",
    Verdict.TOO_SMALL: "<",
    Verdict.MARGINAL: "~",
    Verdict.OVER: "!",
    Verdict.TOO_LOW: "v",
    Verdict.ROUGH: "?",
}


@dataclass(frozen=True)
class Leads:
    """Where the meter's leads are, or the part that the clamp is around."""

    red: str | None = None
    black: str | None = None
    clamp: str | None = None


@dataclass(frozen=True)
class Drop:
    """One drop as it is printed, in volts without the unit; `?` where no reading tells."""

    lost: str
    sound: str
    limit: str
    verdict: Verdict

    @property
    def mark_and_word(self) -> str:
        return f"{self.verdict.mark} {self.verdict.value}"


@dataclass(frozen=True)
class Row:
    """A point and the part that leads on from it; the last row of a stretch has no part.

    `lead` is R, B or nothing; `between` says that the part lies between the leads, `clamped` that the clamp
    is around it. `stretch` is the latest reading across several parts that ends at this point, `since` its
    start, `reading` its number and `several` the least and the most when it is of several cranks. `barred` says
    that the point can't be reached.
    """

    section: Section
    point: str
    part: str = ""
    length_m: float | None = None
    size: str = ""
    lead: str = ""
    between: bool = False
    clamped: bool = False
    drop: Drop | None = None
    probability: float = 0.0
    stretch: Drop | None = None
    since: str = ""
    reading: int = 0
    several: Band | None = None
    barred: bool = False


def short_name(name: str) -> str:
    """A point's or a part's id as words; a letter alone names a terminal, as in B stud."""
    return " ".join(word.upper() if len(word) == 1 else word for word in name.split("-"))


def draw(circuit: Circuit, assessment: Assessment | None, leads: Leads, out_of_reach: Container[str] = ()) -> list[Row]:
    """All rows: around the loop from the positive post, then parallel paths, then the control side."""
    spans = {span.part: span for span in assessment.spans} if assessment else {}
    readings = assessment.readings if assessment else []
    between = frozenset(
        (circuit.path(leads.red, leads.black) or ()) if leads.red is not None and leads.black is not None else ()
    )
    on_the_loop = frozenset(point for run in ("positive", "contacts", "ground") for point in _points(circuit, run))
    pen = _Pen(circuit, spans, [r for r in readings if r.counts], leads, between, on_the_loop)
    rows: list[Row] = []
    for section, run in (
        (Section.POSITIVE, "positive"),
        (Section.STARTER, "contacts"),
        (Section.GROUND, "ground"),
    ):
        path = circuit.path(*circuit.runs[run]) or ()
        rows += pen.stretch(section, _points(circuit, run), path, last=run == "ground")
        if run == "contacts":
            rows.append(pen.motor())
    drawn = set(circuit.main_loop)
    main_points = [row.point for row in rows]
    beside = {n: p for n, p in circuit.parts.items() if n not in drawn and p.part.side is not Side.CONTROL}
    for points, parts in _chains(beside, main_points):
        rows += pen.stretch(Section.BESIDE, points, parts, last=True)
    control = {n: p for n, p in circuit.parts.items() if p.part.side is Side.CONTROL}
    for points, parts in _chains(control, [circuit.roles["battery.positive"], *main_points]):
        rows += pen.stretch(Section.CONTROL, points, parts, last=True)
    return [replace(row, barred=row.point in out_of_reach) for row in rows]


def posts(circuit: Circuit, assessment: Assessment | None) -> dict[str, JudgedReading]:
    """The latest readings across the battery's posts, by state."""
    pair = {circuit.roles["battery.positive"], circuit.roles["battery.negative"]}
    readings = assessment.readings if assessment else []
    return {r.state: r for r in readings if r.counts and {r.red, r.black} == pair}


def verdict(judgement: str, meaning: Meaning | None, *, floor: bool = False) -> Verdict:
    """The word for a drop, from its judgement against the limit and what it means beside a sound one.

    Against a `floor` what is judged over the limit are volts that are not there.
    """
    match judgement, meaning:
        case "over", _ if floor:
            return Verdict.TOO_LOW
        case (("over" | "marginal"), "too-small"):
            return Verdict.TOO_SMALL
        case "over", _:
            return Verdict.OVER
        case "marginal", _:
            return Verdict.MARGINAL
        case "within", "watch":
            return Verdict.WATCH
        case "within", "idle":
            return Verdict.IDLE
        case "within", _:
            return Verdict.SOUND
        case _:
            return Verdict.UNKNOWN


def reading_drop(reading: JudgedReading) -> Drop:
    """A reading as it is printed beside what a sound circuit would read and what practice allows."""
    if reading.amps is not None:
        lost = f"{reading.amps:.0f} A"
    else:
        lost = "open" if reading.volts is None else _figure(reading.volts)
    return Drop(
        lost,
        _band(reading.expected_v),
        "" if reading.limit_v is None else _figure(reading.limit_v),
        verdict(reading.judgement, reading.meaning, floor=bool(reading.floor)),
    )


def _points(circuit: Circuit, run: str) -> tuple[str, ...]:
    return circuit.points_along(*circuit.runs[run])


def _figure(volts: float) -> str:
    return show_volts(volts).removesuffix(" V")


def _band(band: tuple[float, float] | None) -> str:
    if band is None:
        return ""
    if band[1] >= 10.0:
        # A motor's volts: hundredths would not fit their column, and nobody weighs them.
        return f"{band[0]:.1f}-{band[1]:.1f}"
    return show_band(*band).removesuffix(" V").replace(" to ", "-")


@dataclass(frozen=True)
class _Pen:
    circuit: Circuit
    spans: dict[str, SpanView]
    readings: list[JudgedReading]
    leads: Leads
    between: frozenset[str]
    on_the_loop: frozenset[str]

    def stretch(self, section: Section, points: Iterable[str], parts: Iterable[str], *, last: bool) -> Iterator[Row]:
        """Rows of one stretch; its last point is drawn only when no other stretch goes on from there."""
        points, parts = list(points), list(parts)
        for point, part in zip(points, parts, strict=False):
            yield self._row(section, point, part)
        if last:
            yield self._row(section, points[-1], None)

    def motor(self) -> Row:
        """The starter between its own stud and its case; its volts are what it works with, not lost."""
        start, end = self.circuit.map.starter.positive, self.circuit.map.starter.negative
        latest = next(
            (r for r in reversed(self.readings) if (r.state, r.red, r.black) == ("cranking", start, end)),
            None,
        )
        drop = reading_drop(latest) if latest else Drop("?", "", "", Verdict.UNKNOWN)
        return replace(self._row(Section.STARTER, start, None), part="starter", drop=drop)

    def _row(self, section: Section, point: str, part: str | None) -> Row:
        reading = None
        if section not in (Section.BESIDE, Section.CONTROL) or point not in self.on_the_loop:
            reading = self._ending_at(point)
        lead = "R" if point == self.leads.red else "B" if point == self.leads.black else ""
        if point in self.on_the_loop and not self._leads_belong_to(section):
            lead = ""
        span = self.spans.get(part or "")
        passive = self.circuit.parts[part].part if part else None
        return Row(
            section=section,
            point=point,
            part=part or "",
            length_m=passive.length_m if passive and passive.size else None,
            size=str(passive.size) if passive and passive.size else "",
            lead=lead,
            between=part in self.between,
            clamped=part is not None and part == self.leads.clamp,
            drop=_part_drop(span) if part else None,
            probability=span.probability if span else 0.0,
            stretch=reading_drop(reading) if reading else None,
            since=(reading.red or "") if reading else "",
            reading=reading.id if reading else 0,
            several=reading.range_v if reading else None,
        )

    def _leads_belong_to(self, section: Section) -> bool:
        """Whether a lead is drawn where a side path leaves the loop: when the reading is of that path."""
        if section is Section.BESIDE:
            return False
        of_control = any(self.circuit.parts[name].part.side is Side.CONTROL for name in self.between)
        return section is not Section.CONTROL or of_control

    def _ending_at(self, point: str) -> JudgedReading | None:
        for reading in reversed(self.readings):
            if reading.black != point or reading.red is None or reading.state != "cranking":
                continue
            if len(self.circuit.path(reading.red, point) or ()) > 1:
                return reading
        return None


def _part_drop(span: SpanView | None) -> Drop:
    if span is None:
        return Drop("?", "", "", Verdict.UNKNOWN)
    # The difference of two cranks may be too blurred to judge: then it is neither sound nor bad.
    rough = span.lost_v is not None and span.limit_v is not None and span.judgement == "not-judged"
    return Drop(
        "?" if span.lost_v is None else _figure(span.lost_v),
        _band(span.expected_v),
        "" if span.limit_v is None else _figure(span.limit_v),
        Verdict.ROUGH if rough else verdict(span.judgement, span.meaning),
    )


def _chains(parts: dict[str, PassivePart], anchors: list[str]) -> Iterator[tuple[list[str], list[str]]]:
    """Runs of these parts, each from an anchor on until it meets another anchor or ends."""
    left = dict(parts)
    starts = [*anchors, *(point for passive in parts.values() for point in passive.part.between)]
    for anchor in starts:
        while first := _touching(left, anchor):
            points, names = [anchor], [first]
            while True:
                one, other = left.pop(names[-1]).part.between
                points.append(other if points[-1] == one else one)
                onward = _touching(left, points[-1])
                if points[-1] in anchors or onward is None:
                    break
                names.append(onward)
            yield points, names


def _touching(parts: dict[str, PassivePart], point: str) -> str | None:
    return next((name for name, passive in parts.items() if point in passive.part.between), None)
