"""The job file that `diagnose` reads, and the events it stands for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Annotated, cast

from pydantic import Discriminator, Field, Tag

from wizard.circuit.map import COMMON_REPAIRS, Checked, CircuitMap, PartChange, Path
from wizard.quantities import Id, Text
from wizard.walk.events import (
    Answered,
    Complaint,
    Event,
    LabourPriced,
    MinutesLogged,
    OutOfReach,
    PartPriced,
    ReadingTaken,
    Repaired,
    Started,
    StartSeen,
)
from wizard.walk.flow import Flow


class RepairDone(Checked):
    """`{repaired: clean-positive-clamp}` among the readings: those below it were taken after it.

    `fitted` names cables and straps that differ from then on, in the form of the job's `changes`. `day` is when it was
    done, so that no starts of an earlier day stand below it.
    """

    repaired: Id
    fitted: dict[Id, PartChange] = {}
    day: date | None = None


# The key that tells each other entry from a reading.
_TELLING = {"repaired": "repair", "good": "starts", "minutes": "labour", "price": "part", "per_hour": "rate"}


def _entry(value: object) -> str:
    keys: list[str] = dir(value)
    if isinstance(value, Mapping):
        keys = [str(key) for key in cast("Mapping[object, object]", value)]
    return next((entry for key, entry in _TELLING.items() if key in keys), "reading")


Entry = Annotated[
    Annotated[ReadingTaken, Tag("reading")]
    | Annotated[RepairDone, Tag("repair")]
    | Annotated[StartSeen, Tag("starts")]
    | Annotated[MinutesLogged, Tag("labour")]
    | Annotated[PartPriced, Tag("part")]
    | Annotated[LabourPriced, Tag("rate")],
    Discriminator(_entry),
]


class JobFile(Complaint):
    """A job in one file: the complaint, the answers, and the readings in the order they were taken.

    Among the readings may stand repairs, starts that were seen, labour and parts.
    """

    job: Text
    flow: Id = "no-crank-clicks"
    answers: dict[Id, Id] = {}
    out_of_reach: list[Id] = Field([], validation_alias="out-of-reach")
    readings: Annotated[list[Entry], Field(max_length=2000)] = []

    def complaint(self) -> Complaint:
        """The complaint alone."""
        return Complaint.model_construct(**{name: getattr(self, name) for name in Complaint.model_fields})

    def events(self) -> list[Event]:
        """The same job as a log of events."""
        log: list[Event] = [Started(title=self.job, complaint=self.complaint(), flow=self.flow)]
        log += [Answered(step=step, choice=choice, in_file=True) for step, choice in self.answers.items()]
        log += [OutOfReach(point=point) for point in self.out_of_reach]
        log += [
            Repaired(repair=entry.repaired, fitted=entry.fitted, day=entry.day)
            if isinstance(entry, RepairDone)
            else entry
            for entry in self.readings
        ]
        return log

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        taken, repaired_on = 0, None
        for number, entry in enumerate(self.readings):
            yield from ((("readings", number, *path), text) for path, text in entry.inconsistencies())
            if isinstance(entry, ReadingTaken):
                corrected = entry.instead_of
                if corrected is not None and not 1 <= corrected <= taken:
                    yield ("readings", number, "instead-of"), f"there is no reading {corrected} before this"
                taken += 1
            elif isinstance(entry, RepairDone):
                repaired_on = entry.day or repaired_on
            elif isinstance(entry, StartSeen) and repaired_on and _is_early(entry, repaired_on):
                early = f"{entry.day} is before the repair above it, of {repaired_on}"
                yield ("readings", number, "day"), f"{early}: put it above that one"

    def misfits(self, circuit_map: CircuitMap, flow: Flow) -> Iterator[tuple[Path, str]]:
        """Names in the job that its circuit map or its flow does not have."""
        yield from complaint_misfits(self, circuit_map)
        for step, choice in self.answers.items():
            if step not in flow.steps:
                yield ("answers", step), f"the flow {flow.flow!r} has no step {step!r}"
            elif not flow.steps[step].allows(choice, circuit_map.parts):
                allowed = ", ".join(flow.steps[step].choices) or "none: it does not ask"
                yield ("answers", step), f"there is no choice {choice!r}; allowed: {allowed}"
        for number, point in enumerate(self.out_of_reach):
            if point not in circuit_map.points:
                yield ("out-of-reach", number), _no_point(point, circuit_map)
        for number, entry in enumerate(self.readings):
            at: Path = ("readings", number)
            if isinstance(entry, MinutesLogged) and entry.step is not None and entry.step not in flow.steps:
                yield (*at, "step"), f"the flow {flow.flow!r} has no step {entry.step!r}"
            if isinstance(entry, RepairDone):
                known = {*circuit_map.repairs, *COMMON_REPAIRS}
                if entry.repaired not in known:
                    yield (*at, "repaired"), f"the map has no repair {entry.repaired!r}"
                yield from (((*at, "fitted", *path), text) for path, text in change_misfits(entry.fitted, circuit_map))
            if not isinstance(entry, ReadingTaken):
                continue
            for lead in ("red", "black"):
                point = getattr(entry, lead)
                if point is not None and point not in circuit_map.points:
                    yield (*at, lead), _no_point(point, circuit_map)
            if entry.clamp is not None and entry.clamp not in circuit_map.parts:
                yield (*at, "clamp"), f"the map has no part {entry.clamp!r}"
            if isinstance(entry.value, float):
                most = 3000.0 if entry.clamp else 2.5 * circuit_map.system_v
                values = [value for value in (entry.value, entry.minimum, entry.maximum) if value is not None]
                furthest = max(values, key=abs)
                if abs(furthest) > most:
                    unit = "A" if entry.clamp else "V"
                    yield (*at, "value"), f"{furthest:g} {unit} is not possible here; check the unit (mV or V?)"
            elif {entry.red, entry.black} == {circuit_map.battery.positive, circuit_map.battery.negative}:
                yield (*at, "value"), "a battery is read in volts, not open; write 0 V if the meter shows nothing"


def _is_early(starts: StartSeen, repaired_on: date) -> bool:
    return starts.day is not None and starts.day < repaired_on and not starts.before_repair


def complaint_misfits(complaint: Complaint, circuit_map: CircuitMap) -> Iterator[tuple[Path, str]]:
    """Names in a complaint that its circuit map does not have."""
    for path, text in change_misfits(complaint.changes.parts, circuit_map):
        yield ("changes", "parts", *path), text
    touched = complaint.history.woke_up_when_touched
    if touched is not None and touched not in circuit_map.points:
        yield ("history", "woke-up-when-touched"), _no_point(touched, circuit_map)
    for number, name in enumerate(complaint.history.recently_replaced):
        if name not in circuit_map.parts and name not in ("battery", "starter"):
            yield (
                ("history", "recently-replaced", number),
                f"the map has no part {name!r}; write one of its parts, battery or starter",
            )


def change_misfits(parts: Mapping[str, PartChange], circuit_map: CircuitMap) -> Iterator[tuple[Path, str]]:
    """Parts that are said to differ, and can't in this way: the part's name, and what is wrong."""
    for name, change in parts.items():
        part = circuit_map.parts.get(name)
        if part is None:
            yield (name,), f"the map has no part {name!r}; it has {', '.join(circuit_map.parts)}"
        elif part.kind not in ("cable", "strap") and (change.length_m or change.size or change.conductor):
            yield (name,), f"{name!r} is {part.kind}, which has no length, size or conductor; give resistance_mohm"
        elif part.resistance_mohm is not None and change.resistance_mohm is None:
            length, size = change.length_m or part.length_m, change.size or part.size
            if length is None or size is None:
                yield (name,), "give both length and size"


def _no_point(point: str, circuit_map: CircuitMap) -> str:
    return f"the map {circuit_map.circuit!r} has no point {point!r}; it has {', '.join(circuit_map.points)}"
