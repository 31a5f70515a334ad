"""After the hand-in: what was marked and why, and the walk that was taken beside the best one on the circuit."""

from __future__ import annotations

from collections.abc import Iterable

from wizard.circuit.circuit import Circuit
from wizard.lab.bench import COSTS, Slip
from wizard.lab.deeds import Probed
from wizard.lab.exercise import FULL_MARKS
from wizard.lab.handin import HandIn
from wizard.lab.marking import Attempt, Marked, Marker
from wizard.walk.drawing import Leads, Row, draw, short_name

# Readings that a column has room for at one point.
_ROOM = 16
_COST = "What would have cost you something on a real vehicle"


def feedback_text(marker: Marker, handin: HandIn, marked: Marked) -> str:
    """All of it as plain text."""
    lines = [
        f"{marked.student}: {marker.exercise.title}",
        f"{marked.total:g} of {FULL_MARKS} points",
        "",
    ]
    lines += [f"{mark.points:>5g} of {mark.of:<3} {mark.what}: {mark.why}" for mark in marked.marks]
    if marked.costs:
        lines += ["", _COST, *(f"  {cost}" for cost in marked.costs)]
    lines += ["", "Your readings, and the best next test each time"]
    for step in marked.steps:
        lines.append(f"  {step.number}. {step.done}")
        met = "what the bench said was next" if step.hinted else "the best next test"
        lines.append(f"     {met if step.same else f'best was: {step.best}'}")
    attempt = Attempt(marker.exercise, marker.desk.circuit, handin.plain_lines())
    lines += ["", *beside(draw(marker.desk.circuit, None, Leads()), attempt.readings, marker.best.readings)]
    return "\n".join(lines) + "\n"


def own_text(circuit: Circuit, readings: Iterable[Probed], slips: Iterable[Slip]) -> str:
    """What can be told before the answer may be known: what mistakes would have cost, and where the leads went."""
    made = set(slips)
    costs = [f"  {cost}" for slip, cost in COSTS.items() if slip in made]
    told = [_COST, *costs] if costs else ["You made no mistake with the meter, the starter or the cautions."]
    return "\n".join([*told, "", *beside(draw(circuit, None, Leads()), readings)]) + "\n"


def beside(rows: Iterable[Row], taken: Iterable[Probed], best: Iterable[Probed] | None = None) -> list[str]:
    """The circuit's points, and at each whose red (R) or black (B) lead was there, in your readings and the best."""
    columns = [_leads(taken)] + ([] if best is None else [_leads(best)])
    heads = ["YOURS", "BEST"][: len(columns)]
    room = _ROOM * len(columns)
    lines = [
        "Where the leads went: 1R is the red lead of reading 1, 1B its black one, 1A a clamp",
        f"  {''.join(f'{head:{_ROOM}}' for head in heads)}",
    ]
    section = ""
    seen: set[str] = set()
    for row in rows:
        if row.section != section:
            section = row.section
            lines.append(f"  {'':{room}}{str(section).upper()}")
        # A point where stretches meet is drawn in each; its leads are told once.
        fresh = row.point not in seen
        seen.add(row.point)
        at_point = "".join(f"{_cell(leads, row.point) if fresh else '':{_ROOM}}" for leads in columns)
        lines.append(f"  {at_point}{short_name(row.point)}")
        if row.part:
            around = "".join(f"{_cell(leads, row.part):{_ROOM}}" for leads in columns)
            lines.append(f"  {around} | {short_name(row.part)}")
    return [line.rstrip() for line in lines]


def _leads(readings: Iterable[Probed]) -> dict[str, list[str]]:
    at: dict[str, list[str]] = {}
    for number, reading in enumerate(readings, start=1):
        for name, letter in ((reading.red, "R"), (reading.black, "B"), (reading.clamp, "A")):
            if name:
                at.setdefault(name, []).append(f"{number}{letter}")
    return at


def _cell(leads: dict[str, list[str]], name: str) -> str:
    text = " ".join(leads.get(name, []))
    return text if len(text) < _ROOM else f"{text[: _ROOM - 4]}..."
