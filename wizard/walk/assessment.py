"""What the wizard makes of a job at one moment: the shape that screens, files and reports all read."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from wizard.diagnosis.evidence import DOUBTED

Judgement = Literal["within", "marginal", "over", "not-judged"]
# Limit against expected: as sound ones read; over the limit though sound; within it but many times a sound one; both.
# And far less than a sound one: what loses nothing carries nothing.
Meaning = Literal["sound", "too-small", "watch", "fault", "idle"]
Band = tuple[float, float]
# What a job comes to after its last repair. Of a repair that helped there may be another fault beside it, and a fault
# that came and went wants good starts counted.
Stands = Literal["not-proved", "did-not-help", "fault-left", "to-count", "proved"]


class _Shown(BaseModel):
    model_config = ConfigDict(frozen=True)

    def to_json(self) -> dict[str, Any]:
        """The JSON of the contract: keys that do not apply are left out."""
        return self.model_dump(mode="json", exclude_none=True)


class JudgedReading(_Shown):
    """A reading with both questions answered: what practice allows, and what a sound circuit would read.

    `volts` is missing for a clamp reading (which has `amps`) and for `open`. `expected_v` is in amps for a clamp.
    With `floor` the limit is the least that must be there, and over it is too low. `range_v` is the least and the most
    of several cranks. `doubt` is the probability that the reading itself is wrong.
    `before_repair` marks readings of the circuit as it was before the last repair, `acting_up` those taken while the
    fault showed itself.
    """

    id: int
    state: str
    red: str | None = None
    black: str | None = None
    clamp: str | None = None
    volts: float | None = None
    amps: float | None = None
    open: bool | None = None
    range_v: Band | None = None
    limit_v: float | None = None
    floor: bool | None = None
    expected_v: Band | None = None
    expected_a: Band | None = None
    judgement: Judgement = "not-judged"
    meaning: Meaning | None = None
    doubt: float = 0.0
    before_repair: bool | None = None
    struck: bool | None = None
    acting_up: bool | None = None
    note: str | None = None

    @property
    def in_doubt(self) -> bool:
        """Whether it is more likely wrong than right: it shows nothing then, and is to be taken again."""
        return self.doubt >= DOUBTED

    @property
    def counts(self) -> bool:
        """Whether it speaks of the circuit as it is now: neither struck out, nor from before the last repair."""
        return not self.struck and not self.before_repair

    @property
    def past_limit(self) -> bool:
        """Whether it counts and is past its limit, and not merely as sound parts of these sizes read."""
        return self.judgement == "over" and self.meaning != "too-small" and self.counts


class Suspect(_Shown):
    """One fault with its odds. `excess_mohm` is the low, middle and high of its excess resistance."""

    part: str
    fault: str
    probability: float
    excess_mohm: tuple[float, float, float] | None = None
    repair: str


class RepairOdds(_Shown):
    """One repair with its odds and the parts that it would put right."""

    repair: str
    probability: float
    parts: list[str]


class Next(_Shown):
    """What to do next. Which keys it has depends on `kind`; `why` is always there.

    `acting_up` says that the reading is to be taken while the fault shows itself. `again` is the number
    of a doubted reading that this one is to be taken instead of, and `first_read` says of a span of the proof that it
    was not read before the repair, and why it is asked for.
    """

    kind: Literal["caution", "ask", "measure", "repair", "prove", "finish"]
    why: str
    step: str | None = None
    state: str | None = None
    red: str | None = None
    black: str | None = None
    clamp: str | None = None
    choices: list[str] | None = None
    repair: str | None = None
    minutes: float | None = None
    limit_v: float | None = None
    expected_v: Band | None = None
    cautions: list[str] | None = None
    acting_up: bool | None = None
    again: int | None = None
    first_read: str | None = None
    alternatives: list[Next] | None = None


class Finding(_Shown):
    """The repair that the readings call for, in words, with the readings that show it.

    `also` names a second fault that the readings point to, and which part of the drop each of the two takes. `proved`
    says that the repair was done and that the readings after it show that it helped.
    """

    repair: str
    statement: str
    also: str | None = None
    proved: bool | None = None
    evidence: list[int]
    cautions: list[str]


class Standing(_Shown):
    """Where a job stands after its last repair, and in words what that rests on."""

    stands: Stands
    told: str


class SpanView(_Shown):
    """One part for the drawing: volts lost in it where readings tell, what a sound one would lose, and the limit.

    `lost_by` names the readings that tell: one across it, or two whose difference it is. `start` is its end nearer
    the battery's positive post along the current.
    """

    part: str
    start: str
    end: str
    expected_v: Band
    limit_v: float | None = None
    lost_v: float | None = None
    lost_by: list[int] = []
    judgement: Judgement = "not-judged"
    meaning: Meaning | None = None
    probability: float = 0.0


class Remark(_Shown):
    """Something to look out for, with the numbers of the readings that it speaks of and the part, if it is of one.

    Of a `reading` it says that it can hardly be meant as it stands, of a `cable` that it is sound and too small, of a
    part to `watch` that it loses more than a sound one and is within its limit, or next to nothing.
    """

    about: Literal["reading", "cable", "watch"]
    text: str
    readings: tuple[int, ...] = ()
    part: str | None = None


class Assessment(_Shown):
    """The whole answer. `remarks`, `spans`, `along`, `current_a`, `enough` and `standing` are not of the contract.

    `along` is the low, middle and high of what a sound circuit loses up to each point of the positive and of the ground
    side. `current_a` is the band of the cranking current as far as it is known; `enough` is false while the odds are
    still near to what they were before anything was measured.
    """

    circuit: str
    flow: str
    readings: list[JudgedReading]
    suspects: list[Suspect]
    repairs: list[RepairOdds]
    next: Next
    finding: Finding | None
    remarks: list[Remark] = []
    spans: list[SpanView] = []
    along: dict[str, tuple[float, float, float]] = {}
    current_a: Band | None = None
    enough: bool = True
    standing: Standing | None = None

    @property
    def warnings(self) -> list[str]:
        """All remarks in words."""
        return [remark.text for remark in self.remarks]

    def to_json(self) -> dict[str, Any]:
        """As the contract has it: `finding` stands there even when there is none."""
        ours = dict.fromkeys(("remarks", "spans", "along", "current_a", "enough", "standing"), True)
        shown = self.model_dump(mode="json", exclude_none=True, exclude={**ours, "next": {"first_read"}})
        return {**shown, "finding": shown.get("finding"), "warnings": self.warnings}
