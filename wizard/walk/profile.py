"""Volts lost along the run: distance through the circuit against what readings and a healthy circuit lose up to there.

A bad joint shows as a step, a thin or corroded cable as a slope. Screens plot it and reports print it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Literal

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, operate
from wizard.circuit.network import Observable
from wizard.walk.assessment import Assessment, Band, JudgedReading
from wizard.walk.desk import Desk

# Half the width of a 90 % band, in standard deviations.
_BAND = 1.645
# A meter in the bay shows hundredths of a volt: a narrower band would be a pretence.
_LEAST_V = 0.005


@dataclass(frozen=True)
class ProfileRow:
    """One point of a run with the volts lost from the start of its side up to it, while cranking.

    `position_m` counts along the conductors from the battery's positive post through the starter to the negative one;
    a joint has no length. `part` leads to this point and is None at the start of a side. `expected_v` is the low,
    middle and high of a healthy circuit. `measured_v` is None where readings do not tell, also beyond a break.
    """

    side: Literal["positive", "ground"]
    step: int
    position_m: float
    part: str | None
    point: str
    expected_v: tuple[float, float, float]
    measured_v: float | None


def loss_profile(desk: Desk, assessment: Assessment) -> tuple[ProfileRow, ...]:
    """The positive side up to the motor's stud, then the ground side from the starter's case, in the current's order.

    Each side starts from 0 V: what the motor itself works with is not lost.
    """
    circuit = desk.circuit
    readings = _acting_up_first([r for r in assessment.readings if _tells(r)])
    current_a = assessment.current_a or (circuit.demand_a[0], circuit.demand_a[2])
    role = circuit.roles
    rows: list[ProfileRow] = []
    for side, start, end in (
        ("positive", role["battery.positive"], role["starter.motor"]),
        ("ground", role["starter.case"], role["battery.negative"]),
    ):
        points, parts = circuit.points_along(start, end), circuit.path(start, end) or ()
        measured = _potentials(readings, start)
        position_m = rows[-1].position_m if rows else 0.0
        expected = _expected(circuit, points, parts, current_a)
        for number, (point, band) in enumerate(zip(points, expected, strict=True)):
            part = parts[number - 1] if number else None
            if part is not None:
                position_m += circuit.parts[part].part.length_m or 0.0
            lost_v = measured.get(point)
            rows.append(
                ProfileRow(
                    side="positive" if side == "positive" else "ground",
                    step=len(rows),
                    position_m=round(position_m, 3),
                    part=part,
                    point=point,
                    expected_v=band,
                    measured_v=None if lost_v is None else round(lost_v, 4),
                )
            )
    return tuple(rows)


@dataclass(frozen=True)
class LooseStep:
    """A reading between two points of a side that no reading ties to the side's start.

    It is drawn from where a sound circuit would be at the first of the two: `from_v` there, `volts` lost since.
    """

    first: str
    last: str
    volts: float
    from_v: float


def loose_steps(rows: Sequence[ProfileRow], readings: Sequence[JudgedReading]) -> dict[str, LooseStep]:
    """The latest such reading that ends at each point."""
    at = {row.point: row for row in rows}
    steps: dict[str, LooseStep] = {}
    for r in readings:
        if r.volts is None or not _tells(r):
            continue
        ends = [at[point] for point in (r.red, r.black) if point in at]
        if len(ends) != 2 or ends[0].side != ends[1].side or any(row.measured_v is not None for row in ends):
            continue
        volts = r.volts if ends[0].step < ends[1].step else -r.volts
        first, last = sorted(ends, key=lambda row: row.step)
        steps[last.point] = LooseStep(first.point, last.point, volts, first.expected_v[1])
    return steps


def _tells(reading: JudgedReading) -> bool:
    return (
        reading.state == "cranking"
        and reading.volts is not None
        and reading.clamp is None
        and reading.counts
        and not reading.in_doubt
    )


def _acting_up_first(readings: Iterable[JudgedReading]) -> list[JudgedReading]:
    """Of a span that was read while the fault was there and while it was away, the former only."""
    readings = list(readings)
    there = {frozenset((r.red, r.black)) for r in readings if r.acting_up}
    return [r for r in readings if r.acting_up or frozenset((r.red, r.black)) not in there]


def _potentials(readings: Iterable[JudgedReading], start: str) -> dict[str, float]:
    """Volts lost from `start` to every point that readings lead to; repeats of a span are averaged.

    A point read straight from the start is never worked out by way of others.
    """
    spans: dict[tuple[str, str], list[float]] = {}
    for reading in readings:
        assert reading.volts is not None
        spans.setdefault((reading.red or "", reading.black or ""), []).append(reading.volts)
        spans.setdefault((reading.black or "", reading.red or ""), []).append(-reading.volts)
    lost = {start: 0.0}
    front = [start]
    while front:
        onward: list[str] = []
        for point in front:
            for (first, second), volts in spans.items():
                if first == point and second not in lost:
                    lost[second] = lost[point] + sum(volts) / len(volts)
                    onward.append(second)
        front = onward
    return lost


def _expected(
    circuit: Circuit, points: tuple[str, ...], parts: tuple[str, ...], current_a: Band
) -> list[tuple[float, float, float]]:
    """Low, middle and high of what a healthy circuit loses up to each point, for a band of the cranking current."""
    middle_a = sum(current_a) / 2
    wanted = [Observable("cranking", points[0], point) for point in points[1:]]
    healthy = Condition(source_v=12.6 * circuit.scale, demand_a=middle_a)
    values, _, amps = operate(circuit, healthy, wanted)
    middles = [0.0, *(float(v) for v in values)]
    bands = [(0.0, 0.0, 0.0)]
    tolerance = 0.0
    share = (current_a[1] - current_a[0]) / 2 / middle_a if middle_a > 0 else 0.0
    for number, name in enumerate(parts, 1):
        passive = circuit.parts[name]
        part_v = middles[number] - middles[number - 1]
        own_a = part_v / passive.ohm if passive.ohm > 0 else amps
        tolerance = hypot(tolerance, _BAND * passive.spread_ohm * own_a)
        wide = max(_LEAST_V, hypot(tolerance, share * middles[number]))
        bands.append((max(0.0, middles[number] - wide), middles[number], middles[number] + wide))
    return bands
