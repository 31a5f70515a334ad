"""Volts lost along the run: distance through the circuit against what readings and a healthy circuit lose up to there.

A bad joint shows as a step, a thin or corroded cable as a slope. Screens plot it and reports print it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from wizard.circuit.circuit import Circuit
from wizard.circuit.network import Observable
from wizard.diagnosis.finding import expected_bands
from wizard.walk.assessment import Assessment, JudgedReading
from wizard.walk.case import Case
from wizard.walk.desk import Desk


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
    rows: list[ProfileRow] = []
    for side, (start, end) in zip(("positive", "ground"), _sides(circuit), strict=True):
        points, parts = circuit.points_along(start, end), circuit.path(start, end) or ()
        measured = _potentials(readings, start)
        position_m = rows[-1].position_m if rows else 0.0
        for number, point in enumerate(points):
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
                    expected_v=assessment.along[point],
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


def sound_along(case: Case) -> dict[str, tuple[float, float, float]]:
    """Low, middle and high of what a sound circuit loses from the start of each side up to each of its points.

    They are the bands that a reading there would be judged by.
    """
    circuit, along = case.desk.circuit, dict[str, tuple[float, float, float]]()
    for start, end in _sides(circuit):
        points = circuit.points_along(start, end)
        wanted = [Observable("cranking", start, point) for point in points[1:]]
        middles, _ = case.belief.healthy(wanted)
        bands = expected_bands(case.belief, wanted)
        along[start] = (0.0, 0.0, 0.0)
        along |= {
            point: (low, float(middle), high)
            for point, middle, (low, high) in zip(points[1:], middles, bands, strict=True)
        }
    return along


def _sides(circuit: Circuit) -> tuple[tuple[str, str], tuple[str, str]]:
    """Start and end of the positive and of the ground side."""
    role = circuit.roles
    return (role["battery.positive"], role["starter.motor"]), (role["starter.case"], role["battery.negative"])
