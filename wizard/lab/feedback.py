"""After the hand-in: what was marked and why, and the walk that was taken beside the best one on the circuit."""

from __future__ import annotations

from collections.abc import Iterable

from wizard.lab.deeds import Probed
from wizard.lab.exercise import FULL_MARKS
from wizard.lab.handin import HandIn
from wizard.lab.marking import Attempt, Marked, Marker
from wizard.walk.drawing import Leads, Row, draw, short_name

# Readings that a column has room for at one point.
_ROOM = 16


def feedback_text(marker: Marker, handin: HandIn, marked: Marked) -> str:
    """All of it as plain text."""
    lines = [
        f"{marked.student}: {marker.exercise.title}",
        f"{marked.total:g} of {FULL_MARKS} points",
        "",
    ]
    lines += [f"{mark.points:>5g} of {mark.of:<3} {mark.what}: {mark.why}" for mark in marked.marks]
    if marked.costs:
        lines += ["", "What would have cost you something on a real vehicle", *(f"  {cost}" for cost in marked.costs)]
    lines += ["", "Your readings, and the best next test each time"]
    for step in marked.steps:
        lines.append(f"  {step.number}. {step.done}")
        lines.append("     the best next test" if step.same else f"     best was: {step.best}")
    attempt = Attempt(marker.exercise, marker.desk.circuit, handin.plain_lines())
    lines += ["", *beside(draw(marker.desk.circuit, None, Leads()), attempt.readings, marker.best.readings)]
    return "\n".join(lines) + "\n"


def beside(rows: Iterable[Row], taken: Iterable[Probed], best: Iterable[Probed]) -> list[str]:
    """The circuit's points, and at each whose red (R) or black (B) lead was there, in your readings and the best."""
    yours, ideal = _leads(taken), _leads(best)
    lines = [
        "Where the leads went: 1R is the red lead of reading 1, 1B its black one, 1A a clamp",
        f"  {'YOURS':{_ROOM}}{'BEST':{_ROOM}}",
    ]
    section = ""
    seen: set[str] = set()
    for row in rows:
        if row.section != section:
            section = row.section
            lines.append(f"  {'':{2 * _ROOM}}{str(section).upper()}")
        # A point where stretches meet is drawn in each; its leads are told once.
        fresh = row.point not in seen
        seen.add(row.point)
        mine, theirs = (_cell(leads, row.point) if fresh else "" for leads in (yours, ideal))
        lines.append(f"  {mine:{_ROOM}}{theirs:{_ROOM}}{short_name(row.point)}")
        if row.part:
            mine, theirs = (_cell(leads, row.part) for leads in (yours, ideal))
            lines.append(f"  {mine:{_ROOM}}{theirs:{_ROOM}} | {short_name(row.part)}")
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
