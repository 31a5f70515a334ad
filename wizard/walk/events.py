"""What can happen in a job. A job is a list of these, only ever added to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Annotated, Any, Literal, cast

from pydantic import AliasChoices, BeforeValidator, Field, TypeAdapter, ValidationInfo, field_validator, model_validator

from wizard.circuit.heard import Heard
from wizard.circuit.map import Changes, Checked, PartChange, Path
from wizard.quantities import (
    Celsius,
    Id,
    LongText,
    Minutes,
    Text,
    middle,
    parse_quantity,
    parse_range,
    range_hint,
    says_open,
)

STATES = ("resting", "cranking")
State = Literal["resting", "cranking"]
# A span that shows the whole battery because a break lies in it.
OPEN = "open"


def _read_measured(value: Any, info: ValidationInfo) -> Any:
    """Volts, or amps of a clamp, with their unit; a bare number is in the unit that a meter shows."""
    if not isinstance(value, str):
        return value
    if says_open(value):
        return OPEN
    if parse_range(value, _measures(info.data), bare=1.0) is not None:
        raise ValueError("a range says minimum and maximum itself: write it as the value, and leave those out")
    try:
        return parse_quantity(value, _measures(info.data), bare=1.0)
    except ValueError as error:
        raise ValueError(f"{error}{range_hint(value)}") from None


def _measures(reading: Mapping[str, Any]) -> Literal["volts", "amps"]:
    return "amps" if reading.get("clamp") else "volts"


class History(Checked):
    """What the customer knows: parts replaced, what helps, and the point that was touched when it woke up."""

    recently_replaced: list[Id] = Field(
        default=[], validation_alias=AliasChoices("recently-replaced", "recently_replaced")
    )
    helped_by: list[Id] = Field(default=[], validation_alias=AliasChoices("helped-by", "helped_by"))
    woke_up_when_touched: Id | None = Field(
        default=None, validation_alias=AliasChoices("woke-up-when-touched", "woke_up_when_touched")
    )


class Complaint(Checked):
    """The vehicle and what is wrong with it, as told."""

    circuit: Text
    changes: Changes = Changes()
    symptom: Heard | None = None
    intermittent: bool = False
    air: Celsius = 20.0
    history: History = History()
    clamp_meter: bool = Field(default=True, validation_alias=AliasChoices("clamp-meter", "clamp_meter"))

    @field_validator("air")
    @classmethod
    def _liveable(cls, value: float) -> float:
        if not -60.0 <= value <= 70.0:
            raise ValueError(f"{value:g} C is no air temperature for this work; -60 C to 70 C are read")
        return value


class Started(Checked):
    """The job was opened. `scenario` names a shipped one whose simulated meter answers."""

    kind: Literal["started"] = "started"
    title: Text
    complaint: Complaint
    flow: Id = "no-crank-clicks"
    scenario: Text | None = None


class Described(Checked):
    """The complaint was put differently; it replaces the earlier one whole."""

    kind: Literal["described"] = "described"
    complaint: Complaint


class Renamed(Checked):
    """The job has a new title."""

    kind: Literal["renamed"] = "renamed"
    title: Text


class CautionsRead(Checked):
    """The user acknowledged these cautions."""

    kind: Literal["cautions-read"] = "cautions-read"
    cautions: list[Id]


class Answered(Checked):
    """A choice was made at a step that asks; one written `in_file` is not asked for again after a repair."""

    kind: Literal["answered"] = "answered"
    step: Id
    choice: Id
    in_file: bool = False


class ReadingTaken(Checked):
    """What the meter showed: volts from red to black, or amps through a part with a clamp around it.

    `crank` groups readings taken during one crank; left out, a cranking reading had a crank of its own. `acting_up`
    says whether the fault was there at that moment. `minimum` and `maximum` are those of several cranks, whose middle
    is the value.
    """

    kind: Literal["reading"] = "reading"
    state: State
    red: Id | None = None
    black: Id | None = None
    clamp: Id | None = None
    value: Annotated[float | Literal["open"], BeforeValidator(_read_measured)]
    minimum: Annotated[float | None, BeforeValidator(_read_measured)] = None
    maximum: Annotated[float | None, BeforeValidator(_read_measured)] = None
    crank: Annotated[int, Field(ge=1, le=100000)] | None = None
    acting_up: bool | None = Field(default=None, validation_alias=AliasChoices("acting-up", "acting_up"))
    note: LongText = ""
    # The number of the reading that this one corrects, which is struck out by it.
    instead_of: Annotated[int | None, Field(validation_alias=AliasChoices("instead-of", "instead_of"))] = None

    @model_validator(mode="before")
    @classmethod
    def _of_several_cranks(cls, data: Any) -> Any:
        """A range as the value, which a job file may have: the least and the most, and their middle."""
        if not isinstance(data, Mapping):
            return data
        written = cast("Mapping[str, Any]", data)
        value = written.get("value")
        if not isinstance(value, str) or "minimum" in written or "maximum" in written:
            return written
        try:
            ends = parse_range(value, _measures(written), bare=1.0)
        except ValueError:
            # Said again where the value is read, which knows its place.
            return written
        if ends is None:
            return written
        return {**written, "value": middle(*ends), "minimum": ends[0], "maximum": ends[1]}

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        ends = (self.minimum, self.maximum)
        if ends != (None, None) and (self.value == OPEN or not _ordered(ends[0], float(self.value), ends[1])):
            yield ("value",), "the value lies between minimum and maximum; give both, or neither"
        if self.clamp is not None:
            if self.red or self.black:
                yield ("clamp",), "a reading is red to black or a clamp, not both"
            if self.value == OPEN:
                yield ("value",), "a clamp meter reads amps, not open"
        elif not (self.red and self.black):
            yield (), "a reading needs red and black, or clamp"
        elif self.red == self.black:
            yield ("black",), "red and black are on the same point"


def _ordered(low: float | None, middle: float, high: float | None) -> bool:
    return low is not None and high is not None and low <= middle <= high


class ReadingStruck(Checked):
    """A reading was taken back: it stays in the record and counts for nothing."""

    kind: Literal["struck"] = "struck"
    reading: int
    why: Text = ""


class Repaired(Checked):
    """A repair was done; the readings after it are of the repaired circuit.

    `fitted` names cables and straps that are of another size, length or metal from now on than they were before. `day`
    is when, as far as it is known: starts of an earlier day are of the time before it.
    """

    kind: Literal["repaired"] = "repaired"
    repair: Id
    fitted: dict[Id, PartChange] = {}
    day: date | None = None


class RepairStruck(Checked):
    """The last repair was not done after all; what was read before it is of the circuit as it is now.

    Older jobs hold it; `TakenBack` has taken its place.
    """

    kind: Literal["repair-struck"] = "repair-struck"


class StartSeen(Checked):
    """The engine was started so many times, or failed to start: what the follow-up of a fault that comes and goes
    counts. Before a repair it tells how often it failed, and so it does where `before_repair` says that it was told
    only after the last one. `day` is when, as far as it is known.
    """

    kind: Literal["start-seen"] = "start-seen"
    good: bool
    engine: Literal["cold", "hot"]
    times: Annotated[int, Field(ge=1, le=10_000)] = 1
    day: date | None = None
    before_repair: bool = Field(default=False, validation_alias=AliasChoices("before-repair", "before_repair"))


class StartStruck(Checked):
    """An entry of starts was taken back; they are counted from 1."""

    kind: Literal["start-struck"] = "start-struck"
    entry: int


class FollowUp(Checked):
    """The follow-up of a repair was closed, or opened again."""

    kind: Literal["follow-up"] = "follow-up"
    open: bool
    why: Text = ""


class MinutesLogged(Checked):
    """Labour: so many minutes on a step of the walk, or on what the text says."""

    kind: Literal["minutes-logged"] = "minutes-logged"
    minutes: Annotated[Minutes, Field(gt=0, le=10_000)]
    step: Id | None = None
    work: Text = ""


class PartPriced(Checked):
    """A part that was fitted or used up, and the price of one, in the currency that the job is kept in."""

    kind: Literal["part-priced"] = "part-priced"
    what: Text
    price: Annotated[float, Field(ge=0, le=1e7)]
    count: Annotated[float, Field(gt=0, le=10_000)] = 1.0


class LabourPriced(Checked):
    """What an hour of labour costs, in the same currency; the last one said holds for the whole job. None takes it back
    without another.
    """

    kind: Literal["labour-priced"] = "labour-priced"
    per_hour: Annotated[float, Field(ge=0, le=1e6)] | None


class CostStruck(Checked):
    """An entry of labour or parts was taken back. Both kinds are counted together from 1."""

    kind: Literal["cost-struck"] = "cost-struck"
    entry: int


class Jumped(Checked):
    """The user went to a step by name."""

    kind: Literal["jumped"] = "jumped"
    step: Id


class JumpStruck(Checked):
    """The jump was taken back: the walk goes on where it stands by itself.

    Older jobs hold it; `TakenBack` has taken its place.
    """

    kind: Literal["jump-struck"] = "jump-struck"


class Cranked(Checked):
    """Start was held for so long."""

    kind: Literal["cranked"] = "cranked"
    seconds: Annotated[float, Field(ge=0, le=3600)]


class FailsNow(Checked):
    """From here on the fault shows itself while start is held, or does no more; readings are marked so."""

    kind: Literal["fails-now"] = "fails-now"
    fails: bool


class OutOfReach(Checked):
    """A point could not be reached, or can be again.

    `taken_back` says that this undoes the last one of its kind: older jobs hold it.
    """

    kind: Literal["out-of-reach"] = "out-of-reach"
    point: Id
    reachable: bool = False
    taken_back: bool = Field(default=False, validation_alias=AliasChoices("taken-back", "taken_back"))


class Noted(Checked):
    """A remark for the record, on the job or on one of its readings."""

    kind: Literal["noted"] = "noted"
    text: LongText
    reading: int | None = None


class TakenBack(Checked):
    """The last event that still stood, by its number in the job, was taken back: all is as it was before it.

    Readings, starts, labour and parts stay on the list, struck out. The job's opening can't be taken back.
    """

    kind: Literal["taken-back"] = "taken-back"
    event: Annotated[int, Field(ge=2)]


Event = Annotated[
    Started
    | Described
    | Renamed
    | CautionsRead
    | Answered
    | ReadingTaken
    | ReadingStruck
    | Repaired
    | RepairStruck
    | StartSeen
    | StartStruck
    | FollowUp
    | MinutesLogged
    | PartPriced
    | LabourPriced
    | CostStruck
    | Jumped
    | JumpStruck
    | Cranked
    | FailsNow
    | OutOfReach
    | Noted
    | TakenBack,
    Field(discriminator="kind"),
]
EVENT: TypeAdapter[Event] = TypeAdapter(Event)
