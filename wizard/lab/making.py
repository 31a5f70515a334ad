"""A new exercise by choices, or drawn at random by its level from a seed; one that can't be solved is drawn again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.random import Generator
from pydantic import ValidationError

from wizard.circuit.circuit import Circuit
from wizard.circuit.conductors import healthy_ohm
from wizard.circuit.heard import Heard
from wizard.circuit.map import Kind, Side
from wizard.errors import DropwalkError
from wizard.lab.bench import Bench
from wizard.lab.deeds import Listened, Touched, Warmed
from wizard.lab.exercise import Exercise, Level
from wizard.lab.scenario import PartFault
from wizard.lab.solving import is_right, solve
from wizard.quantities import Size
from wizard.walk.desk import Desk

Moved = Literal["touch", "heat"]
# Faults that are not added resistance in a part, as they are chosen.
OTHERS = (
    "battery=discharged",
    "battery=worn",
    "starter=open",
    "starter=worn",
    "starter=dragging",
    "starter=shorted",
    "engine=dragging",
    "coil=open",
)
# Draws before it is given up.
_MOST_DRAWS = 30
# Volts that a fault takes while cranking, lowest and highest, and kinds of parts that it may sit in, by level.
_LOSS_V: dict[Level, tuple[float, float]] = {
    "first": (2.4, 3.4),
    "easy": (2.2, 3.2),
    "middle": (1.9, 2.8),
    "hard": (0.5, 1.2),
}
_KINDS: dict[Level, frozenset[Kind]] = {
    "first": frozenset([Kind.JOINT]),
    "easy": frozenset([Kind.JOINT, Kind.CONTACTS]),
    "middle": frozenset([Kind.JOINT, Kind.CONTACTS, Kind.CABLE, Kind.STRAP]),
    "hard": frozenset(Kind),
}
# What may be wrong, by level, and how often it is drawn against the others. `pair` is two things at once, `moved` a
# fault that a hand or a hot engine brings on, `thin` too small a cable.
_WRONG: dict[Level, Mapping[str, float]] = {
    "first": {"part": 3, "battery=discharged": 1},
    "easy": {"part": 4, "battery=discharged": 1, "battery=worn": 1, "starter=open": 1},
    "middle": {
        "part": 4,
        "control": 1,
        "battery=worn": 1,
        "starter=worn": 1,
        "starter=dragging": 1,
        "engine=dragging": 1,
        "coil=open": 1,
    },
    "hard": {"part": 3, "pair": 2, "moved": 2, "thin": 2, "healthy": 1},
}
# Rest volts of a 12 V battery and its internal resistance over a sound one's, lowest and highest. Invented, within
# what US Army TM 5-3805-262-20 calls discharged and charged.
_BATTERY = {"discharged": ((11.3, 11.8), (2.5, 4.5)), "worn": ((12.4, 12.6), (3.5, 5.0))}
# What a fault that comes and goes still adds while it is away: a trace that can be found.
_TRACE_MOHM = 1.5
# The size that stands in for a cable, as a share of what it should have.
_THIN_SHARE = (0.1, 0.2)
_MINUTES: dict[Level, int] = {"first": 40, "easy": 45, "middle": 60, "hard": 75}
_HELP: dict[Level, str] = {"first": "guided", "easy": "hints", "middle": "hints", "hard": "free"}
_STORIES = (
    "It has cranked lazily for some weeks, and nobody has looked at it yet.",
    "The owner has charged the battery and it made no difference.",
    "It stood all winter, and has not been right since.",
    "Someone worked on it last month and can't be asked.",
)


@dataclass(frozen=True)
class Chosen:
    """What a teacher hides: resistance by part, other faults by OTHERS, cables by the size that was put in.

    With `moved_by` the added resistance is there only after a hand was on the joint, or while the engine is hot.
    Nothing chosen is a healthy vehicle.
    """

    excess: Sequence[tuple[str, str]] = ()
    others: Sequence[str] = ()
    sizes: Sequence[tuple[str, str]] = ()
    moved_by: Moved | None = None


def drawn(name: str, level: Level, desk: Desk, seed: int) -> dict[str, Any]:
    """An exercise of this level as its file's data, the same for the same seed. Raises DropwalkError."""
    chance = np.random.default_rng(seed)
    for _ in range(_MOST_DRAWS):
        data = _setting(name, level, desk.circuit, chance)
        data |= _hiding(desk.circuit, _draw(level, desk.circuit, chance), chance)
        data = _complained(data, desk)
        # Only the hard ones may show nothing to the ear, and what comes and goes has to fail when it comes.
        quiet = data["symptom"] == Heard.CRANKS_NORMALLY and data["hidden"]
        if quiet and (level != "hard" or "intermittent" in data):
            continue
        if solvable(Exercise.model_validate(data), desk):
            return data
    raise DropwalkError(f"no exercise of level {level} was found with the seed {seed}; give another seed")


def chosen(name: str, level: Level, desk: Desk, hide: Chosen, seed: int) -> dict[str, Any]:
    """An exercise with these faults as its file's data; the seed draws the vehicle around them.

    Raises DropwalkError for a part that is not there, a figure that can't be read, or one that can't be solved.
    """
    circuit = desk.circuit
    for part in [part for part, _ in (*hide.excess, *hide.sizes)]:
        if part not in circuit.parts:
            raise DropwalkError(f"the map has no part {part!r}; it has {', '.join(circuit.parts)}")
    if hide.moved_by and not hide.excess:
        raise DropwalkError("only resistance added to a part can come and go; choose the part")
    chance = np.random.default_rng(seed)
    try:
        made = _complained(_setting(name, level, circuit, chance) | _hiding(circuit, hide, chance), desk)
    except ValidationError as error:
        told = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise DropwalkError(f"this fault can't be: {told}") from None
    if not solvable(Exercise.model_validate(made), desk):
        raise DropwalkError("the wizard does not find this fault by its tests; make it worse or choose another")
    return made


def _complained(data: dict[str, Any], desk: Desk) -> dict[str, Any]:
    """The data with the symptom that the vehicle has when what is wrong acts up."""
    bench = Bench(Exercise.model_validate(data), desk, 0, noise=False)
    for fault in bench.hidden:
        if isinstance(fault, PartFault) and fault.moved_by == "touch":
            bench.do(Touched(point=desk.circuit.parts[fault.part].part.between[0]), 0.0)
        elif isinstance(fault, PartFault) and fault.moved_by == "heat":
            bench.do(Warmed(), 0.0)
    heard = bench.do(Listened(held_s=2.0), 0.0)
    assert isinstance(heard, Listened)
    return {**data, "symptom": heard.heard}


def solvable(exercise: Exercise, desk: Desk) -> bool:
    """Whether both the walk and the best tests end with just the right repairs."""
    try:
        return all(is_right(exercise, desk, solve(exercise, desk, plan).repairs) for plan in ("walk", "fastest"))
    except DropwalkError:
        return False


def _setting(name: str, level: Level, circuit: Circuit, chance: Generator) -> dict[str, Any]:
    """Everything but what is wrong."""
    return {
        "exercise": name,
        "title": f"Exercise {name}",
        "level": level,
        "help": _HELP[level],
        "minutes": _MINUTES[level],
        "story": str(chance.choice(_STORIES)),
        "circuit": circuit.map.circuit,
        "demand_a": f"{round(float(circuit.demand_a[1] * chance.uniform(0.92, 1.08)))} A",
        "seed": int(chance.integers(1, 2**31)),
    }


def _hiding(circuit: Circuit, hide: Chosen, chance: Generator) -> dict[str, Any]:
    """What is wrong, as the file has it, and what looking at it finds."""
    coming = {"otherwise": f"{_TRACE_MOHM} mohm", "moved-by": hide.moved_by} if hide.moved_by else {}
    hidden: list[dict[str, Any]] = [{"part": part, "excess": excess} | coming for part, excess in hide.excess]
    hidden += [{"part": part, "excess": _too_small(circuit, part, size)} for part, size in hide.sizes]
    hidden += [_other(circuit, other, chance) for other in hide.others]
    told: dict[str, Any] = {"hidden": hidden}
    if hide.moved_by:
        told |= {"intermittent": True, "acting_up": 0.0}
    if hide.excess:
        told["answers"] = {"open-and-look": "damage"}
    elif not hide.others:
        told["answers"] = {"open-and-look": "sound"}
    return told


def _too_small(circuit: Circuit, part: str, size: str) -> str:
    """What a cable of this size adds to the one that the map has. Raises DropwalkError when it adds nothing."""
    cable = circuit.parts[part].part
    if cable.length_m is None or cable.size is None:
        raise DropwalkError(f"{part} is no cable with a length and a size")
    try:
        fitted = Size.parse(size)
    except ValueError as error:
        raise DropwalkError(str(error)) from None
    if fitted.area_mm2 >= cable.size.area_mm2:
        raise DropwalkError(f"{size} is not too small for {part}, which has {cable.size.label}")
    sound, small = (healthy_ohm(cable.length_m, s, cable.conductor, 20.0)[0] for s in (cable.size, fitted))
    return f"{1e3 * (small - sound):.1f} mohm"


def _other(circuit: Circuit, words: str, chance: Generator) -> dict[str, Any]:
    kind, _, what = words.partition("=")
    if kind != "battery":
        return {kind: what}
    volts, ratio = _BATTERY[what]
    return {
        kind: what,
        "source_v": f"{chance.uniform(*volts) * circuit.scale:.2f} V",
        "ohm_ratio": round(float(chance.uniform(*ratio)), 1),
    }


def _draw(level: Level, circuit: Circuit, chance: Generator) -> Chosen:
    """What is wrong, at random."""
    kinds = _WRONG[level]
    share = np.array(list(kinds.values()))
    match str(chance.choice(list(kinds), p=share / share.sum())):
        case "part":
            return Chosen(excess=[_part(level, circuit, chance, _KINDS[level])])
        case "control":
            parts = [name for name, p in circuit.parts.items() if p.part.side is Side.CONTROL]
            lost_ohm = float(chance.uniform(0.8, 1.2)) * circuit.pull_in_ohm
            return Chosen(excess=[(str(chance.choice(parts)), f"{1e3 * lost_ohm:.0f} mohm")])
        case "pair":
            joint = _part(level, circuit, chance, _KINDS["first"])
            return Chosen(excess=[joint], others=["battery=worn"])
        case "moved":
            moved_by: Moved = "touch" if chance.random() < 0.5 else "heat"
            part, _ = _part(level, circuit, chance, _KINDS["first"])
            return Chosen(excess=[(part, f"{chance.uniform(70, 100) * circuit.scale:.0f} mohm")], moved_by=moved_by)
        case "thin":
            cables = {n: p.part.size for n, p in circuit.parts.items() if p.part.kind is Kind.CABLE and p.part.size}
            names = [name for name in cables if name in circuit.main_loop]
            name = str(chance.choice(names))
            return Chosen(sizes=[(name, f"{max(1, round(cables[name].area_mm2 * chance.uniform(*_THIN_SHARE)))} mm2")])
        case "healthy":
            return Chosen()
        case other:
            return Chosen(others=[other])


def _part(level: Level, circuit: Circuit, chance: Generator, kinds: frozenset[Kind]) -> tuple[str, str]:
    """A part of these kinds that carries the starter's current, and resistance added to it."""
    names = [
        name
        for name, passive in circuit.parts.items()
        if passive.part.kind in kinds
        and passive.part.side is not Side.CONTROL
        and (name in circuit.main_loop or level == "hard")
    ]
    lost_v = float(chance.uniform(*_LOSS_V[level])) * circuit.scale
    return str(chance.choice(names)), f"{1e3 * lost_v / circuit.demand_a[1]:.1f} mohm"
