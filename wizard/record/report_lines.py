"""The shape of a report: what every form of it prints."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from wizard.walk.assessment import Band
from wizard.walk.drawing import Row
from wizard.walk.profile import ProfileRow


class _Line(BaseModel):
    model_config = ConfigDict(frozen=True)


class ReadingLine(_Line):
    """A reading as the record shows it; numbers in V or A, words beside them.

    `set` counts repairs that were done before it, `at` is when it was recorded where that is known.
    """

    id: int
    at: datetime | None
    state: str
    span: str
    value: str
    volts: float | None
    amps: float | None
    limit: str
    limit_v: float | None
    expected: str
    judged: str
    set: int
    struck: bool
    doubt: float
    note: str


class AnswerLine(_Line):
    """A question that was answered; `set` counts repairs that were done before it, `at` is when where that is known.

    `of_repair` marks what is asked only once something was repaired.
    """

    at: datetime | None
    step: str
    question: str
    choice: str
    answer: str
    set: int
    of_repair: bool


class SpanLine(_Line):
    """A span of a proof: before, what was predicted, and after.

    `won_back` and `margin` are in words, empty where they can't be said; so is `first`, what was read before an earlier
    repair.
    """

    span: str
    before: str
    predicted: str
    after: str
    sound: str
    limit: str
    judged: str
    against: str
    won_back: str
    first: str
    margin: str
    before_v: float | None
    predicted_band: Band | None
    after_v: float | None
    readings: list[int]


class RepairLine(_Line):
    """A repair that was done, with its finding and its proof; `helped` is None while the proof is not read.

    `unsettled` says what of its proof keeps the fault from being called gone: what is still past its limit, then what
    was not read.
    """

    number: int
    repair: str
    label: str
    finding: str
    evidence: list[int]
    fitted: list[str]
    helped: bool | None
    result: str
    spans: list[SpanLine]
    remains: list[str]
    unsettled: list[str]


class CostLine(_Line):
    """Labour or parts: minutes or a count, and what it comes to in the job's own currency."""

    entry: int
    what: str
    minutes: float | None
    count: float | None
    price: float | None
    total: float | None
    struck: bool


class Totals(_Line):
    """What labour and parts come to; None where the price of an hour was not said."""

    minutes: float
    labour: float | None
    parts: float
    total: float | None


class StartsLine(_Line):
    """Starts with a cold or a hot engine, and what they show."""

    engine: str
    failed_before: int
    tries_before: int
    failed_since: int
    in_a_row: int
    days: list[str]
    needed_90: int | None
    needed_95: int | None
    confidence: float | None


class CautionLine(_Line):
    """A caution that goes with what was done, and whether it was acknowledged."""

    title: str
    text: str
    acknowledged: bool


class PartLine(_Line):
    """A part of the run as it is now: what it loses, what a sound one would, and what practice allows, in V."""

    section: str
    part: str
    lost: str
    sound: str
    limit: str
    judged: str


class WorkLine(_Line):
    """A repair that is called for: how it is done, what a cable would lose now and in each size, and what the spans
    of its proof will then read.
    """

    repair: str
    label: str
    order: list[str]
    tools: list[str]
    look: list[str]
    not_enough: list[str]
    sizes: list[str]
    predicted: list[str]
    minutes: float
    cost: float


class LargerLine(_Line):
    """A sound cable that is too small for its length, and the sizes that would do."""

    part: str
    label: str
    sizes: list[str]


class Customer(_Line):
    """The first page, in plain words."""

    told: list[str]
    found: list[str]
    done: list[str]
    brought: list[str]
    gone: list[str]
    not_tested: list[str]
    advice: list[str]


class Report(_Line):
    """Everything that is printed; `report` is the version of this form as JSON.

    `made_up` warns of a demo, and is empty for a real vehicle. `stands` says what `next` is: the next step, or how the
    job ended. `sound_at` says at which current the readings' sound bands are, where these differ.
    """

    report: int = 1
    job: int | None
    title: str
    written: datetime
    opened: datetime | None
    made_up: str
    vehicle: dict[str, str]
    complaint: dict[str, str]
    conditions: dict[str, str]
    customer: Customer
    finding: str
    stands: str
    next: str
    suspects: list[str]
    work: WorkLine | None
    larger: list[LargerLine]
    repairs: list[RepairLine]
    answers: list[AnswerLine]
    readings: list[ReadingLine]
    sound_at: str
    parts: list[PartLine]
    follow_up: str
    starts: list[StartsLine]
    costs: list[CostLine]
    totals: Totals | None
    cautions: list[CautionLine]
    warnings: list[str]
    notes: list[str]
    not_tested: list[str]
    defer: str

    def to_json(self) -> dict[str, Any]:
        """The same as plain data."""
        return self.model_dump(mode="json")


class Drawn(_Line):
    """What the drawings are made from: the run's rows, its losses now, and those before the last repair.

    `labels` has every point's label by its id, and a part's label and size by `part:` or `size:` and its id.
    """

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    rows: list[Row]
    labels: dict[str, str]
    profile: tuple[ProfileRow, ...]
    before: tuple[ProfileRow, ...]
