"""What a student can do at the bench. An attempt is a list of these, each with its time, only ever added to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from pydantic import Field

from wizard.circuit.map import Checked
from wizard.circuit.network import Observable
from wizard.lab.exercise import Exercise, Where
from wizard.lab.meter import OVER, RANGES, UNIT, Function, Setting
from wizard.quantities import Id, LongText, Text, parse_quantity
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, CautionsRead, Event, Noted, OutOfReach, ReadingTaken, Repaired, Started
from wizard.walk.flow import Step

# Things at fault, and readings that show it, in one answer.
MOST_PARTS, MOST_EVIDENCE = 5, 40
_Seconds = Annotated[float, Field(ge=0, le=600)]


class Probed(Checked):
    """The meter was put on two points, or its clamp around a part, and read.

    `held_s` is how long start was held for it, 0 for not at all. `shown` is what the display showed; `crank` counts
    the cranks of the attempt.
    """

    kind: Literal["probed"] = "probed"
    function: Function = "volts"
    range: Text = "auto"
    red: Id | None = None
    black: Id | None = None
    clamp: Id | None = None
    held_s: _Seconds = 0.0
    crank: Annotated[int, Field(ge=0, le=100_000)] = 0
    shown: Text = ""

    @property
    def setting(self) -> Setting:
        return Setting(self.function, self.range)

    @property
    def what(self) -> Observable:
        """What it reads, in the state that start being held makes."""
        state = "cranking" if self.held_s > 0 else "resting"
        if self.function == "clamp":
            return Observable(state, clamp=self.clamp or "")
        return Observable(state, self.red or "", self.black or "")

    @property
    def value(self) -> float | None:
        """The figure that was shown, in V, ohm or A; None for over the range or nothing legible."""
        if self.shown == OVER:
            return None
        dimension = {"volts": "volts", "ohms": "ohms", "clamp": "amps"}[self.function]
        try:
            return parse_quantity(self.shown, dimension)
        except ValueError:
            return None

    @property
    def counts(self) -> bool:
        """Whether it is a reading that a diagnosis can be built on: volts or amps with every lead somewhere."""
        if self.function == "ohms" or self.value is None:
            return False
        return (
            bool(self.clamp) if self.function == "clamp" else bool(self.red and self.black and self.red != self.black)
        )


class Listened(Checked):
    """Start was held without a reading; `heard` is what it did."""

    kind: Literal["listened"] = "listened"
    held_s: _Seconds
    heard: Text = ""


class Touched(Checked):
    """A hand moved what is at a point."""

    kind: Literal["touched"] = "touched"
    point: Id


class Rested(Checked):
    """Minutes were let pass."""

    kind: Literal["rested"] = "rested"
    minutes: Annotated[float, Field(gt=0, le=600)]


class Warmed(Checked):
    """The engine space was brought to running heat."""

    kind: Literal["warmed"] = "warmed"


class GroundLead(Checked):
    """The battery's ground lead was taken off or put on."""

    kind: Literal["ground-lead"] = "ground-lead"
    on: bool


class SideNamed(Checked):
    """The student said which side loses too much, or what else is at fault."""

    kind: Literal["side-named"] = "side-named"
    side: Where


class Helped(Checked):
    """The bench told what to do next: a reading, by its leads or clamp and whether start is held, or something else."""

    kind: Literal["helped"] = "helped"
    red: Id | None = None
    black: Id | None = None
    clamp: Id | None = None
    held: bool = False

    @property
    def what(self) -> Observable:
        """The reading that was told; of nothing when it was something else."""
        return Observable("cranking" if self.held else "resting", self.red or "", self.black or "", self.clamp or "")


class Concluded(Checked):
    """The student's answer: what is at fault (none for nothing), the readings that show it, and the reasons."""

    kind: Literal["concluded"] = "concluded"
    parts: Annotated[list[Id], Field(max_length=MOST_PARTS)] = []
    evidence: Annotated[list[Annotated[int, Field(ge=1, le=10_000)]], Field(max_length=MOST_EVIDENCE)] = []
    reasons: LongText = ""


Deed = Annotated[
    Probed
    | Listened
    | Touched
    | Rested
    | Warmed
    | GroundLead
    | SideNamed
    | Helped
    | Concluded
    | CautionsRead
    | Answered
    | Repaired
    | Noted
    | OutOfReach,
    Field(discriminator="kind"),
]


class Line(Checked):
    """A deed and when it was done, in seconds since the attempt began."""

    at_s: Annotated[float, Field(ge=0, le=1e7)]
    deed: Deed


def misfits(deed: Deed, exercise: Exercise, desk: Desk) -> Iterator[str]:
    """What a deed names that the exercise's circuit, flow or cautions do not have."""
    points, parts = desk.circuit.map.points, desk.circuit.parts
    match deed:
        case Probed():
            for point in (deed.red, deed.black):
                if point is not None and point not in points:
                    yield f"there is no point {point!r}"
            if deed.clamp is not None and deed.clamp not in parts:
                yield f"there is no part {deed.clamp!r}"
            if deed.range not in ("auto", *RANGES[deed.function]):
                yield f"the meter has no range {deed.range!r} on {deed.function}"
            if exercise.board and deed.shown != OVER and deed.value is None:
                yield f"{deed.shown!r} is not a reading in {UNIT[deed.function]}"
        case Touched() | OutOfReach():
            if deed.point not in points:
                yield f"there is no point {deed.point!r}"
        case Repaired():
            if deed.repair not in desk.circuit.repairs:
                yield f"there is no repair {deed.repair!r}"
        case Answered():
            step = desk.flow.steps.get(deed.step)
            if step is None or not _allows(step, deed.choice, desk):
                yield f"there is no step {deed.step!r} with the choice {deed.choice!r}"
        case Concluded():
            for name in deed.parts:
                if name not in parts and name not in ("battery", "starter", "engine", "coil"):
                    yield f"there is no part {name!r}"
        case CautionsRead():
            for name in deed.cautions:
                if name not in desk.cautions.cautions:
                    yield f"there is no caution {name!r}"
        case _:
            pass


def _allows(step: Step, choice: str, desk: Desk) -> bool:
    return step.allows(choice, desk.circuit.parts)


def as_job(exercise: Exercise, lines: Iterable[Line], failing: frozenset[int] = frozenset()) -> list[Event]:
    """The attempt as a job's events; `failing` are the cranks in which a fault that comes and goes was there."""
    log: list[Event] = [Started(title=exercise.title, complaint=exercise.complaint(), flow=exercise.flow)]
    for line in lines:
        match line.deed:
            case Probed() as deed if deed.counts and deed.value is not None:
                what = deed.what
                log.append(
                    ReadingTaken(
                        state="cranking" if what.state == "cranking" else "resting",
                        red=what.red or None,
                        black=what.black or None,
                        clamp=what.clamp or None,
                        value=deed.value,
                        acting_up=deed.crank in failing if exercise.intermittent and deed.held_s > 0 else None,
                    )
                )
            case CautionsRead() | Answered() | Repaired() | Noted() | OutOfReach() as event:
                log.append(event)
            case _:
                pass
    return log
