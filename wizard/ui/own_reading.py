"""A reading of the user's own: state, then where the leads or the clamp go, each picked by a few letters."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, Literal

from textual.app import App

from wizard.ui.pick import Item, Pick
from wizard.ui.target import Target
from wizard.walk.desk import Desk

_KINDS = [
    Item("cranking", "Volts with start held"),
    Item("resting", "Volts at rest"),
    Item("clamp", "Amps with start held, clamp meter"),
]
Picked = tuple[str, ...] | None


def ask_span(app: App[Any], desk: Desk, use: Callable[[Target], None]) -> None:
    """Ask what to read, then `use` it; leaving any of the questions leaves everything as it was."""

    def kind(picked: Picked) -> None:
        if not picked:
            return
        if picked[0] == "clamp":
            parts = [Item(name, part.label) for name, part in desk.circuit.map.parts.items()]
            app.push_screen(Pick("Clamp around which part?", parts), clamp)
        else:
            state: Literal["resting", "cranking"] = "resting" if picked[0] == "resting" else "cranking"
            app.push_screen(Pick("Red lead where?", _points(desk)), partial(red, state))

    def clamp(picked: Picked) -> None:
        if picked:
            use(Target("cranking", clamp=picked[0], chosen=True))

    def red(state: Literal["resting", "cranking"], picked: Picked) -> None:
        if picked:
            others = [item for item in _points(desk) if item.id != picked[0]]
            app.push_screen(Pick("Black lead where?", others), partial(black, state, picked[0]))

    def black(state: Literal["resting", "cranking"], red_point: str, picked: Picked) -> None:
        if picked:
            limit_v, _ = desk.limits.judge(desk.circuit, state, red_point, picked[0], None)
            use(Target(state, red_point, picked[0], limit_v=limit_v, chosen=True))

    app.push_screen(Pick("Another reading: what?", _KINDS), kind)


def _points(desk: Desk) -> list[Item]:
    return [Item(name, point.label) for name, point in desk.circuit.map.points.items()]
