"""A job on paper: a page for the customer and the record behind it, as facts that every format prints alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from functools import cached_property
from typing import Any

from pydantic import BaseModel, ConfigDict

from wizard.circuit.heard import Heard
from wizard.circuit.map import RepairKind, Side
from wizard.diagnosis.faults import NO_REPAIR
from wizard.diagnosis.finding import Shown, drop_between, statement, trusted
from wizard.files import shelf
from wizard.quantities import capitalised, printable, show_amps, show_band, show_volts
from wizard.record.printout import FLOOR_JUDGED, JUDGED
from wizard.record.repair_words import MARKS, fitted_words, foreseen_words, size_lines
from wizard.record.session import Session
from wizard.repair.advice import advise
from wizard.repair.predict import Foreseen
from wizard.walk.assessment import Assessment, Band, JudgedReading
from wizard.walk.case import Case, symptom_of
from wizard.walk.desk import Desk
from wizard.walk.drawing import Leads, Row, draw
from wizard.walk.events import Event, MinutesLogged, ReadingTaken
from wizard.walk.follow_up import FollowUpView, Tally, follow_up
from wizard.walk.profile import ProfileRow, loss_profile
from wizard.walk.proof import RepairProof, SpanProof, foresee_proof, repair_proofs
from wizard.walk.state import JobState
from wizard.walk.walker import assessment_of

_HEARD = {
    Heard.CRANKS_NORMALLY: "it cranks as it should",
    Heard.CRANKS_SLOWLY: "it cranks slowly",
    Heard.ONE_CLICK: "one click, then nothing",
    Heard.RAPID_CLICKS: "rapid clicks",
    Heard.NO_CLICK: "nothing, not even a click",
}
# What a customer is told of repairs that are of no single part.
_AT_FAULT = {
    "charge-battery": "The battery was low on charge.",
    "replace-battery": "The battery is worn out: its volts fall too far while the starter works.",
    "replace-starter": "The starter itself is at fault.",
    "free-the-engine": "The engine, or something that it drives, is too hard to turn.",
}
_RUNS = {
    "positive": "the positive side, from the battery to the starter",
    "contacts": "the solenoid's main contacts",
    "ground": "the ground side, from the starter back to the battery",
    "control": "the control side, from the start switch to the solenoid",
}
_POSTS = {"resting": "the battery at rest", "cranking": "the battery while it cranks"}
_AGAINST = {
    "as-predicted": "as predicted",
    "below": "below the prediction",
    "above": "above the prediction",
    "not-read": "not read",
}


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


class SpanLine(_Line):
    """A span of a proof: before, what was predicted, and after."""

    span: str
    before: str
    predicted: str
    after: str
    sound: str
    limit: str
    judged: str
    against: str
    won_back: str
    margin: str
    before_v: float | None
    predicted_band: Band
    after_v: float | None
    readings: list[int]


class RepairLine(_Line):
    """A repair that was done, with its finding and its proof; `helped` is None while the proof is not read."""

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
    """Everything that is printed; `report` is the version of this form as JSON."""

    report: int = 1
    job: int | None
    title: str
    written: datetime
    opened: datetime | None
    vehicle: dict[str, str]
    complaint: dict[str, str]
    conditions: dict[str, str]
    customer: Customer
    finding: str
    next: str
    suspects: list[str]
    work: WorkLine | None
    repairs: list[RepairLine]
    readings: list[ReadingLine]
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


def compile_report(
    case: Case, *, written: datetime, job: int | None = None, times: Mapping[int, datetime] | None = None
) -> tuple[Report, Drawn]:
    """Everything that a job adds up to at this moment; `times` says when each reading was recorded, by its number.

    `written` and `times` are shown in the zone that they carry.
    """
    return _Clerk(case, dict(times or {})).report(written, job)


def repair_lines(case: Case) -> list[RepairLine]:
    """Every repair that was done, in order, with its proof."""
    return _Clerk(case, {}).repairs()


def cost_lines(desk: Desk, state: JobState) -> list[CostLine]:
    """Labour and parts in the order they were entered, those struck out too."""
    return list(_costs(desk, state))


def totals(state: JobState, lines: Iterable[CostLine]) -> Totals | None:
    """What stands comes to; None when nothing does."""
    standing = [line for line in lines if not line.struck]
    if not standing:
        return None
    minutes = sum(line.minutes or 0.0 for line in standing)
    rate = state.labour_per_hour
    labour = 0.0 if not minutes else None if rate is None else minutes / 60.0 * rate
    parts = sum(line.total or 0.0 for line in standing if line.minutes is None)
    total = None if labour is None else labour + parts
    return Totals(minutes=minutes, labour=labour, parts=parts, total=total)


def session_report(session: Session, written: datetime) -> tuple[Report, Drawn]:
    """The same for a job from the store, with the times of its readings. Raises DropwalkError, BadFile."""
    times = reading_times((stored.at, stored.event) for stored in session.log)
    return compile_report(Case.of(session.desk, session.state), written=written, job=session.job_id, times=times)


def reading_times(log: Iterable[tuple[datetime, Event]]) -> dict[int, datetime]:
    """When each reading of a log was recorded, by its number, in the zone of this machine."""
    taken = (at for at, event in log if isinstance(event, ReadingTaken))
    return {number: at.astimezone() for number, at in enumerate(taken, 1)}


class _Clerk:
    """Writes one report down."""

    def __init__(self, case: Case, times: dict[int, datetime]) -> None:
        self.case, self.desk, self.state = case, case.desk, case.state
        self.circuit = case.desk.circuit
        self.times = times
        self.proofs = repair_proofs(case)
        self.cases = list(reversed([case, *self._earlier()]))
        self.follow_up = follow_up(case.state)

    def _earlier(self) -> Iterator[Case]:
        at = self.case.before
        while at is not None:
            yield at
            at = at.before

    @cached_property
    def found(self) -> Assessment:
        return assessment_of(self.case, cautions_read=True)

    def report(self, written: datetime, job: int | None) -> tuple[Report, Drawn]:
        rows = draw(self.circuit, self.found, Leads())
        not_tested = list(self._not_tested())
        costs = cost_lines(self.desk, self.state)
        report = Report(
            job=job,
            title=printable(self.state.title),
            written=written,
            opened=min(self.times.values(), default=None),
            vehicle=dict(self._vehicle()),
            complaint=dict(self._complaint()),
            conditions=dict(self._conditions()),
            customer=self._customer(not_tested),
            finding=self.found.finding.statement if self.found.finding else "",
            next=self.found.next.why,
            suspects=[self._suspect(s.part, s.fault, s.probability) for s in self.found.suspects[:6]],
            work=self._work(),
            repairs=self.repairs(),
            readings=[self._reading(reading) for reading in self.found.readings],
            parts=list(self._parts(rows)),
            follow_up=follow_up_words(self.follow_up),
            starts=[_starts(tally) for tally in self.follow_up.tallies if _counted(tally)],
            costs=costs,
            totals=totals(self.state, costs),
            cautions=list(self._cautions()),
            warnings=[printable(line) for line in self.found.warnings],
            notes=[printable(note) for note in self.state.notes],
            not_tested=not_tested,
            defer=self.desk.cautions.defer,
        )
        return report, Drawn(rows=rows, labels=self._labels(), profile=self._profile(None), before=self._before())

    # --- vehicle and complaint -----------------------------------------------------------------------------------

    def _vehicle(self) -> Iterator[tuple[str, str]]:
        chart = self.circuit.map
        yield "Circuit", f"{chart.title} ({chart.circuit})"
        yield "System", f"{self.circuit.system_v:g} V"
        yield "Cold cranking amps", show_amps(self.circuit.changes.cca_a or chart.battery.cca_a)
        for name, change in self.circuit.changes.parts.items():
            facts = [f"{change.length_m:g} m"] if change.length_m else []
            facts += [str(fact) for fact in (change.size, change.conductor) if fact]
            facts += [f"{change.resistance_mohm:g} mohm"] if change.resistance_mohm else []
            yield capitalised(chart.parts[name].label), ", ".join(facts)

    def _complaint(self) -> Iterator[tuple[str, str]]:
        complaint = self.state.complaint
        symptom = symptom_of(self.desk, self.state)
        yield "Heard at the start", _HEARD[symptom] if symptom else "not told"
        if complaint is None:
            return
        yield "Comes and goes", "yes" if complaint.intermittent else "no"
        told = complaint.history
        if told.recently_replaced:
            yield "Replaced before", ", ".join(self._part(name) for name in told.recently_replaced)
        if told.helped_by:
            yield "What helped", ", ".join(name.replace("-", " ") for name in told.helped_by)
        if told.woke_up_when_touched:
            yield "Came back when touched", self._point(told.woke_up_when_touched)

    def _conditions(self) -> Iterator[tuple[str, str]]:
        yield "Air", f"{self.circuit.air_c:g} C"
        if self.found.current_a and any(r.state == "cranking" for r in self.found.readings):
            low, high = self.found.current_a
            yield "Cranking current", f"{low:.0f} to {show_amps(high)}, as the readings tell"
        if self.state.cranks:
            yield "Cranks", f"{self.state.cranks}, {self.state.crank_seconds:.0f} s in all"
        if self.state.out_of_reach:
            yield "Out of reach", ", ".join(self._point(point) for point in sorted(self.state.out_of_reach))

    def _labels(self) -> dict[str, str]:
        chart = self.circuit.map
        points = {name: point.label for name, point in chart.points.items()}
        return {name: printable(label) for name, label in [*points.items(), *self._part_labels()]}

    def _part_labels(self) -> Iterator[tuple[str, str]]:
        for name, passive in self.circuit.parts.items():
            part = passive.part
            yield f"part:{name}", part.label
            yield f"size:{name}", f"{part.length_m:g} m {part.size}" if part.length_m and part.size else ""

    def _part(self, name: str) -> str:
        known = self.circuit.map.parts.get(name)
        return printable(known.label if known else name.replace("-", " "))

    def _point(self, name: str) -> str:
        known = self.circuit.map.points.get(name)
        return printable(known.label if known else name)

    # --- readings ------------------------------------------------------------------------------------------------

    def _reading(self, reading: JudgedReading) -> ReadingLine:
        floor = bool(reading.floor)
        taken = self.state.readings[reading.id - 1]
        value = "open"
        if reading.amps is not None:
            value = show_amps(reading.amps)
        elif reading.volts is not None:
            value = show_volts(reading.volts)
        expected = show_band(*reading.expected_v) if reading.expected_v else ""
        if reading.expected_a:
            expected = f"{reading.expected_a[0]:.0f} to {show_amps(reading.expected_a[1])}"
        judged = (FLOOR_JUDGED if floor else JUDGED)[reading.judgement]
        return ReadingLine(
            id=reading.id,
            at=self.times.get(reading.id),
            state=reading.state,
            span=self._span(reading.red, reading.black, reading.clamp),
            value=value,
            volts=reading.volts,
            amps=reading.amps,
            limit="" if reading.limit_v is None else f"{'least ' if floor else ''}{show_volts(reading.limit_v)}",
            limit_v=reading.limit_v,
            expected=expected,
            judged="struck out" if reading.struck else judged,
            set=taken.repairs_before,
            struck=bool(reading.struck),
            doubt=reading.doubt,
            note=printable(reading.note or ""),
        )

    def _span(self, red: str | None, black: str | None, clamp: str | None) -> str:
        if clamp:
            return f"clamp around {self._part(clamp)}"
        return f"{self._point(red or '')} to {self._point(black or '')}"

    def _parts(self, rows: list[Row]) -> Iterator[PartLine]:
        for row in rows:
            if row.part in self.circuit.parts:
                drop = row.drop
                assert drop is not None
                yield PartLine(
                    section=str(row.section),
                    part=self._part(row.part),
                    lost="not measured alone" if drop.lost == "?" else _volts(drop.lost),
                    sound=_volts(drop.sound),
                    limit=_volts(drop.limit),
                    judged=drop.mark_and_word.strip(),
                )

    def _profile(self, of_set: int | None) -> tuple[ProfileRow, ...]:
        """Losses along the run as the circuit is now, or as it was when so many repairs had been done."""
        found = self.found
        if of_set is not None:
            numbers = {r.number for r in self.state.readings if r.repairs_before == of_set}
            earlier = [r.model_copy(update={"before_repair": None}) for r in found.readings if r.id in numbers]
            found = found.model_copy(update={"readings": earlier})
        return loss_profile(self.desk, found)

    def _before(self) -> tuple[ProfileRow, ...]:
        return self._profile(len(self.state.repairs) - 1) if self.state.repairs else ()

    # --- finding, repair, proof ----------------------------------------------------------------------------------

    def _suspect(self, part: str, fault: str, odds: float) -> str:
        shown = "over 99 %" if odds > 0.99 else "under 1 %" if odds < 0.01 else f"{100 * odds:.0f} %"
        return f"{self._part(part)}, {fault.replace('-', ' ')}: {shown}"

    def repairs(self) -> list[RepairLine]:
        return [self._repair(proof, before) for proof, before in zip(self.proofs, self.cases, strict=False)]

    def _repair(self, proof: RepairProof, before: Case) -> RepairLine:
        shown: Shown | None = before.found[1] if before.found and before.found[0] == proof.repair else None
        told = statement(before.belief, self.desk.limits, shown) if shown else ""
        return RepairLine(
            number=proof.number,
            repair=proof.repair,
            label=self.circuit.repairs[proof.repair].label,
            finding=told or "Done without a finding: no reading had shown it directly.",
            evidence=list(shown.drop.numbers) if shown else [],
            fitted=[fitted_words(before.desk.circuit, *fit) for fit in self.state.fits[proof.number - 1].items()],
            helped=proof.helped,
            result=_result(proof),
            spans=[self._span_line(span) for span in proof.spans],
            remains=list(proof.remains),
        )

    def _span_line(self, span: SpanProof) -> SpanLine:
        what = span.what
        show = show_amps if what.clamp else show_volts
        band = span.predicted

        def value(number: float | None, read: bool) -> str:
            return show(number) if number is not None else "open" if read else "not read"

        margin = ""
        if span.margin_v is not None:
            margin = f"{show_volts(span.margin_v)}"
            margin += f", {span.margin_times:.1f} times" if span.margin_times is not None else ""
        words = FLOOR_JUDGED if span.floor else JUDGED
        return SpanLine(
            span=self._span(what.red or None, what.black or None, what.clamp or None) + f", {what.state}",
            before=value(span.before, False),
            predicted=f"{band.low:.0f} to {show_amps(band.high)}" if what.clamp else show_band(band.low, band.high),
            after=value(span.after, bool(span.numbers)),
            sound=f"{span.sound[0]:.0f} to {show_amps(span.sound[1])}" if what.clamp else show_band(*span.sound),
            limit="" if span.limit is None else f"{'least ' if span.floor else ''}{show_volts(span.limit)}",
            judged=words[span.judgement],
            against=_AGAINST[span.against],
            won_back="" if span.won_back is None else show_volts(span.won_back),
            margin=margin,
            before_v=span.before,
            predicted_band=(band.low, band.high),
            after_v=span.after,
            readings=list(span.numbers),
        )

    def _work(self) -> WorkLine | None:
        """How to do the repair that the readings call for and that was not done yet."""
        if self.case.found is None:
            return None
        advice = advise(self.circuit, shelf.repairs(), self.case.found[0])
        return WorkLine(
            repair=advice.repair,
            label=advice.label,
            order=list(advice.order),
            tools=list(advice.tools),
            look=list(advice.look),
            not_enough=list(advice.not_enough),
            sizes=[line for part in advice.replaces for line in self._sizes(part)],
            predicted=[self._foreseen(foreseen) for foreseen in foresee_proof(self.case, advice.repair)],
            minutes=advice.minutes,
            cost=advice.cost,
        )

    def _foreseen(self, band: Foreseen) -> str:
        figure, where = foreseen_words(self.circuit, band)
        return f"{capitalised(where)}: {figure}"

    def _sizes(self, part: str) -> Iterator[str]:
        yield f"{capitalised(self._part(part))}:"
        for about, said in size_lines(self.desk, self.found, part):
            yield f"{about}: {said}" if about and about not in MARKS else said

    # --- cautions, what is missing ------------------------------------------------------------------------

    def _cautions(self) -> Iterator[CautionLine]:
        deeds = {str(self.circuit.repairs[repair].kind) for repair in self.state.repairs}
        deeds |= {reading.taken.state for reading in self.state.readings}
        wanted = {*self.desk.cautions.for_deed(*sorted(deeds)), *self.state.cautions_read}
        wanted |= set(self.found.finding.cautions if self.found.finding else [])
        for name, caution in self.desk.cautions.cautions.items():
            if name in wanted:
                read = name in self.state.cautions_read
                yield CautionLine(title=caution.title, text=caution.text, acknowledged=read)

    def _not_tested(self) -> Iterator[str]:
        """Runs and posts that no trusted reading of the circuit as it is now tells of, and starts not seen."""
        after = " since the last repair" if self.state.repairs else ""
        readings = trusted(self.case.belief)
        for run, name in _RUNS.items():
            if drop_between(readings, *self.circuit.runs[run]) is None:
                earlier = any(drop_between(trusted(at.belief), *self.circuit.runs[run]) for at in self.cases[:-1])
                yield f"Not measured{after if earlier else ''}: {name}."
        role = self.circuit.roles
        for state, name in _POSTS.items():
            if self.case.has(state, role["battery.positive"], role["battery.negative"]) is None:
                earlier = any(
                    at.has(state, role["battery.positive"], role["battery.negative"]) for at in self.cases[:-1]
                )
                yield f"Not measured{after if earlier else ''}: {name}."
        for point in sorted(self.state.out_of_reach):
            yield f"Out of reach: {self._point(point)}."
        complaint = self.state.complaint
        if complaint and complaint.intermittent and self.state.repairs:
            for tally in self.follow_up.tallies:
                if not tally.in_a_row:
                    yield f"No start with a {tally.engine} engine was counted since the repair."

    # --- the customer's page -------------------------------------------------------------------------------------

    def _customer(self, not_tested: list[str]) -> Customer:
        complaint = self.state.complaint
        symptom = symptom_of(self.desk, self.state)
        told = [
            f"When you start it: {_HEARD[symptom]}." if symptom else "What is heard when you start it was not told."
        ]
        if complaint and complaint.intermittent:
            told.append("It comes and goes.")
        done = [f"{capitalised(self.circuit.repairs[repair].label)}." for repair in self.state.repairs]
        brought = [_plain_result(proof) for proof in self.proofs]
        if self.proofs:
            brought += [capitalised(line) for line in self.proofs[-1].remains]
        gone = [follow_up_words(self.follow_up)] if complaint and complaint.intermittent else []
        advice = [printable(line) for line in self.found.warnings]
        if self.case.found:
            advice.insert(0, f"Have this done: {self.circuit.repairs[self.case.found[0]].label}.")
        return Customer(
            told=told,
            found=list(dict.fromkeys(self._plain_findings())),
            done=done or ["Nothing was repaired yet."],
            brought=brought,
            gone=[line for line in gone if line],
            not_tested=not_tested,
            advice=advice,
        )

    def _plain_findings(self) -> Iterator[str]:
        for repair in self.state.repairs:
            yield self._at_fault(repair)
        finding = self.found.finding
        if finding and finding.repair not in self.state.repairs:
            yield self._at_fault(finding.repair)
        elif not self.state.repairs and not finding:
            sound = self.found.next.kind == "finish" and self.found.repairs[0].repair == NO_REPAIR
            yield "Nothing wrong was shown." if sound else "The fault is not found yet: the tests go on."

    def _at_fault(self, repair: str) -> str:
        if repair in _AT_FAULT:
            return _AT_FAULT[repair]
        own = [p.part for p in self.circuit.parts.values() if p.part.repair == repair]
        if not own or self.circuit.repairs[repair].kind is RepairKind.HAND_OVER:
            return f"{capitalised(self.circuit.repairs[repair].label)}."
        names = " or ".join(dict.fromkeys(part.label for part in own))
        way = "to the switch of the starter" if own[0].side is Side.CONTROL else "to the starter and back"
        return f"Too many of the battery's volts were lost in one place on their way {way}: {names}."


def _result(proof: RepairProof) -> str:
    match proof.helped:
        case None:
            return "The proof is not complete: not every span of it was measured again."
        case True:
            return "The readings after it show that it helped."
        case False:
            return "The readings after it do not show that it helped."


def _plain_result(proof: RepairProof) -> str:
    first = next((s for s in proof.spans if s.before is not None and s.after is not None and not s.what.clamp), None)
    if first is None or first.before is None or first.after is None:
        return _result(proof)
    told = "reached there" if first.floor else "were lost there"
    return f"Before the repair {show_volts(first.before)} {told}, after it {show_volts(first.after)}. {_result(proof)}"


def follow_up_words(view: FollowUpView) -> str:
    """How far the counting of starts has come, as a sentence."""
    rows = "; ".join(
        f"{tally.engine}: {tally.in_a_row} of {tally.needed_sure}"
        for tally in view.tallies
        if tally.needed_sure is not None
    )
    match view.status:
        case "no-repair":
            return ""
        case "uncounted":
            return "Nobody counted how often it failed before, so no number of good starts can show that it is gone."
        case "counting":
            return f"Good starts in a row so far, of those needed to be 95 % sure that it is gone: {rows}."
        case "shown":
            return f"Enough good starts in a row to be 95 % sure that it is gone: {rows}."
        case "failed-again":
            return "It failed to start again after the repair: the fault is not gone."
        case "closed":
            return f"The follow-up was closed{f' at {rows} good starts' if rows else ''}."


def _starts(tally: Tally) -> StartsLine:
    return StartsLine(
        engine=tally.engine,
        failed_before=tally.failed_before,
        tries_before=tally.tries_before,
        failed_since=tally.failed_since,
        in_a_row=tally.in_a_row,
        days=[day.isoformat() for day in tally.days],
        needed_90=tally.needed_likely,
        needed_95=tally.needed_sure,
        confidence=tally.confidence,
    )


def _counted(tally: Tally) -> bool:
    return bool(tally.tries_before or tally.in_a_row or tally.failed_since)


def _volts(figure: str) -> str:
    return f"{figure} V" if figure and figure not in ("open", "?") else figure


def _costs(desk: Desk, state: JobState) -> Iterator[CostLine]:
    rate = state.labour_per_hour
    for cost in state.costs:
        entry = cost.entry
        if isinstance(entry, MinutesLogged):
            step = desk.flow.steps.get(entry.step or "")
            what = ": ".join(text for text in (step.title if step else "", printable(entry.work)) if text)
            yield CostLine(
                entry=cost.number,
                what=what or "Labour",
                minutes=entry.minutes,
                count=None,
                price=rate,
                total=None if rate is None else entry.minutes / 60.0 * rate,
                struck=cost.struck,
            )
        else:
            yield CostLine(
                entry=cost.number,
                what=printable(entry.what) or "Part",
                minutes=None,
                count=entry.count,
                price=entry.price,
                total=entry.count * entry.price,
                struck=cost.struck,
            )
