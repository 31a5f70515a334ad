"""An exercise: a hidden vehicle that a school sets, with what helps, what time it may take and how it is marked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import AliasChoices, Field

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Checked, Path, PositiveMinutes, Side
from wizard.lab.scenario import (
    BatteryFault,
    CoilFault,
    HiddenFault,
    HiddenVehicle,
    PartFault,
    StarterFault,
    repairs_for,
)
from wizard.quantities import Id, LongText, Text

Level = Literal["first", "easy", "middle", "hard"]
LEVELS: tuple[Level, ...] = ("first", "easy", "middle", "hard")
# Guided: the next step is shown. Hints: shown when asked for. Free: never.
Help = Literal["guided", "hints", "free"]
# At once: the hand-in shows the answer. Later: the teacher does.
Feedback = Literal["at-once", "later"]
Where = Literal["positive", "ground", "control", "battery", "starter", "engine", "nothing"]
FULL_MARKS = 100
_Points = Annotated[int, Field(ge=0, le=FULL_MARKS)]


class Scheme(Checked):
    """How many of the 100 points each thing is worth."""

    part: _Points = 25
    repair: _Points = 20
    side: _Points = 10
    readings: _Points = 10
    minutes: _Points = 10
    cautions: _Points = 10
    meter: _Points = 5
    reasons: _Points = 10

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        total = sum(self.model_dump().values())
        if total != FULL_MARKS:
            yield (), f"the points add up to {total}; they must add up to {FULL_MARKS}"


class Exercise(HiddenVehicle):
    """A hidden vehicle set as an exercise.

    On a `board` the readings are typed from a real meter; `setting_up` tells the teacher how to put the fault in.
    Without `feedback` it comes at once where the student has the open file, and later where it is sealed or served.
    """

    exercise: Id
    level: Level = "easy"
    goals: Annotated[list[Text], Field(max_length=12)] = Field(default_factory=list[Text])
    help: Help = "hints"
    minutes: PositiveMinutes = 45.0
    feedback: Feedback | None = None
    scheme: Scheme = Scheme()
    board: bool = False
    setting_up: LongText = Field("", validation_alias=AliasChoices("setting_up", "setting-up"))

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        yield from super().inconsistencies()
        yield from ((("scheme", *path), text) for path, text in self.scheme.inconsistencies())


def named(fault: HiddenFault) -> str:
    """What a finding calls the thing at fault: a part's id, `battery`, `starter`, `engine` or `coil`."""
    return fault.part if isinstance(fault, PartFault) else fault.family.partition("-")[0]


def where(fault: HiddenFault, circuit: Circuit) -> Where:
    """The side that a fault is on; the solenoid's contacts and coil count as the starter's."""
    match fault:
        case PartFault():
            if fault.part == circuit.map.solenoid.contacts:
                return "starter"
            side = circuit.map.parts[fault.part].side
            return "positive" if side is Side.POSITIVE else "ground" if side is Side.GROUND else "control"
        case BatteryFault():
            return "battery"
        case StarterFault() | CoilFault():
            return "starter"
        case _:
            return "engine"


def right_repairs(exercise: Exercise, circuit: Circuit) -> list[frozenset[str]]:
    """For each hidden fault the repairs that put it right; empty when nothing is wrong."""
    return [repairs_for(fault, circuit.map) for fault in exercise.hidden]
