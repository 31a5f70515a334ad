"""A reading of the user's own: state, then where the leads or the clamp go, each picked by a few letters."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, Literal

from textual.app import App

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Kind
from wizard.circuit.network import Observable
from wizard.diagnosis.finding import expected_band
from wizard.ui.pick import Item, Pick
from wizard.ui.target import Target
from wizard.walk.case import Case
from wizard.walk.desk import Desk

if TYPE_CHECKING:
    from wizard.record.session import Session

_KINDS = [
    Item("cranking", "Volts with start held"),
    Item("resting", "Volts at rest"),
    Item("clamp", "Amps with start held, clamp meter"),
]
Picked = tuple[str, ...] | None


def own_target(case: Case, state: Literal["resting", "cranking"], red: str, black: str) -> Target:
    """A reading between any two points with its limit, and what a sound circuit loses there with start held."""
    circuit = case.desk.circuit
    limit_v, _ = case.desk.limits.judge(circuit, state, red, black, None)
    expected_v = None
    if state == "cranking" and circuit.path(red, black):
        low, high = sorted(abs(end) for end in expected_band(case.belief, Observable(state, red, black)))
        expected_v = (low, high)
    return Target(state, red, black, limit_v=limit_v, expected_v=expected_v, chosen=True)


def ask_span(app: App[Any], session: Session, use: Callable[[Target], None], black_on: str = "") -> None:
    """Ask what to read, then `use` it; leaving any of the questions leaves everything as it was.

    With `black_on`, black goes there and only red is asked for.
    """
    desk = session.desk

    def kind(picked: Picked) -> None:
        if not picked:
            return
        if picked[0] == "clamp":
            parts = [Item(name, label) for name, label in clampable(desk.circuit).items()]
            app.push_screen(Pick("Clamp around which cable or strap?", parts), clamp)
        else:
            state: Literal["resting", "cranking"] = "resting" if picked[0] == "resting" else "cranking"
            others = [item for item in _points(desk) if item.id != black_on]
            app.push_screen(Pick("Red lead where?", others), partial(red, state))

    def clamp(picked: Picked) -> None:
        if picked:
            use(Target("cranking", clamp=picked[0], chosen=True))

    def red(state: Literal["resting", "cranking"], picked: Picked) -> None:
        if picked and black_on:
            use(own_target(session.case(), state, picked[0], black_on))
        elif picked:
            others = [item for item in _points(desk) if item.id != picked[0]]
            app.push_screen(Pick("Black lead where?", others), partial(black, state, picked[0]))

    def black(state: Literal["resting", "cranking"], red_point: str, picked: Picked) -> None:
        if picked:
            use(own_target(session.case(), state, red_point, picked[0]))

    kinds = [item for item in _KINDS if not (black_on and item.id == "clamp")]
    heading = (
        f"Black on {desk.circuit.map.points[black_on].label}: read what?" if black_on else "Another reading: what?"
    )
    app.push_screen(Pick(heading, kinds), kind)


def clampable(circuit: Circuit) -> dict[str, str]:
    """What a clamp can close around, by name with its label: joints, contacts and the starter's case offer nothing."""
    return {name: p.label for name, p in circuit.map.parts.items() if p.kind in (Kind.CABLE, Kind.STRAP)}


def _points(desk: Desk) -> list[Item]:
    return [Item(name, point.label) for name, point in desk.circuit.map.points.items()]
