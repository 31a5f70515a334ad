"""A new exercise by choices, or drawn at random by its level from a seed; one that can't be solved is drawn again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.random import Generator
from pydantic import ValidationError

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Kind, Side
from wizard.errors import DropwalkError
from wizard.lab.bench import Bench
from wizard.lab.deeds import Listened
from wizard.lab.exercise import Exercise, Level
from wizard.lab.solving import is_right, solve
from wizard.walk.desk import Desk

# Draws before it is given up.
_MOST_DRAWS = 30
# Volts that a fault takes while cranking, lowest and highest, and kinds of parts that it may sit in, by level.
_LOSS_V: dict[Level, tuple[float, float]] = {
    "first": (1.8, 3.0),
    "easy": (1.3, 2.5),
    "middle": (0.9, 1.8),
    "hard": (0.5, 1.2),
}
_KINDS: dict[Level, frozenset[Kind]] = {
    "first": frozenset([Kind.JOINT]),
    "easy": frozenset([Kind.JOINT, Kind.CONTACTS]),
    "middle": frozenset([Kind.JOINT, Kind.CONTACTS, Kind.CABLE, Kind.STRAP]),
    "hard": frozenset(Kind),
}
_MINUTES: dict[Level, int] = {"first": 40, "easy": 45, "middle": 60, "hard": 75}
_HELP: dict[Level, str] = {"first": "guided", "easy": "hints", "middle": "hints", "hard": "free"}
_STORIES = (
    "It has cranked lazily for some weeks, and nobody has looked at it yet.",
    "The owner has charged the battery and it made no difference.",
    "It stood all winter, and has not been right since.",
    "Someone worked on it last month and can't be asked.",
)


def drawn(name: str, level: Level, desk: Desk, seed: int) -> dict[str, Any]:
    """An exercise of this level as its file's data, the same for the same seed. Raises DropwalkError."""
    chance = np.random.default_rng(seed)
    for _ in range(_MOST_DRAWS):
        if made := _made(_draw(name, level, desk.circuit, chance), desk):
            return made
    raise DropwalkError(f"no exercise of level {level} was found with the seed {seed}; give another seed")


def chosen(name: str, level: Level, desk: Desk, faults: Sequence[tuple[str, str]], seed: int) -> dict[str, Any]:
    """An exercise with these faults, each a part and the resistance added to it, as its file's data.

    Raises DropwalkError for a part that is not there, a resistance that can't be read, or one that can't be solved.
    """
    for part, _ in faults:
        if part not in desk.circuit.parts:
            raise DropwalkError(f"the map has no part {part!r}; it has {', '.join(desk.circuit.parts)}")
    data = _draw(name, level, desk.circuit, np.random.default_rng(seed))
    data["hidden"] = [{"part": part, "excess": excess} for part, excess in faults]
    try:
        made = _made(data, desk)
    except ValidationError as error:
        told = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise DropwalkError(f"this fault can't be: {told}") from None
    if made is None:
        raise DropwalkError("the wizard does not find this fault by its tests; make it worse or choose another")
    return made


def _made(data: dict[str, Any], desk: Desk) -> dict[str, Any] | None:
    """The data with the symptom that the vehicle has; None when it can't be solved."""
    heard = Bench(Exercise.model_validate(data), desk, 0, noise=False).do(Listened(held_s=2.0), 0.0)
    assert isinstance(heard, Listened)
    data = {**data, "symptom": heard.heard}
    return data if solvable(Exercise.model_validate(data), desk) else None


def solvable(exercise: Exercise, desk: Desk) -> bool:
    """Whether both the walk and the best tests end with just the right repairs."""
    try:
        return all(is_right(exercise, desk, solve(exercise, desk, plan).repairs) for plan in ("walk", "fastest"))
    except DropwalkError:
        return False


def _draw(name: str, level: Level, circuit: Circuit, chance: Generator) -> dict[str, Any]:
    demand_a = round(float(circuit.demand_a[1] * chance.uniform(0.92, 1.08)))
    names = [
        part
        for part, passive in circuit.parts.items()
        if passive.part.kind in _KINDS[level]
        and passive.part.side is not Side.CONTROL
        and (part in circuit.main_loop or level == "hard")
    ]
    part = str(chance.choice(names))
    lost_v = float(chance.uniform(*_LOSS_V[level])) * circuit.scale
    return {
        "exercise": name,
        "title": f"Exercise {name}",
        "level": level,
        "help": _HELP[level],
        "minutes": _MINUTES[level],
        "story": str(chance.choice(_STORIES)),
        "circuit": circuit.map.circuit,
        "hidden": [{"part": part, "excess": f"{1e3 * lost_v / demand_a:.1f} mohm"}],
        "demand_a": f"{demand_a} A",
        "seed": int(chance.integers(1, 2**31)),
        "answers": {"open-and-look": "damage"},
    }
