"""A job on paper: a page for the customer and the record behind it, as facts that every format prints alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from functools import cached_property

from wizard.diagnosis.finding import drop_between, trusted
from wizard.files import shelf
from wizard.quantities import capitalised, printable, show_amps, show_band
from wizard.record.costs import cost_lines, totals
from wizard.record.customer import HEARD, customer_page
from wizard.record.names import Names
from wizard.record.printout import FLOOR_JUDGED, JUDGED, value_and_limit
from wizard.record.proof_lines import repair_lines
from wizard.record.repair_words import MARKS, follow_up_words, foreseen_words, laid_lines, size_lines
from wizard.record.report_lines import (
    AnswerLine,
    CautionLine,
    Drawn,
    LargerLine,
    PartLine,
    ReadingLine,
    Report,
    StartsLine,
    WorkLine,
)
from wizard.record.session import Session
from wizard.repair.advice import advise
from wizard.walk.assessment import Assessment, JudgedReading
from wizard.walk.case import Case, symptom_of
from wizard.walk.drawing import Leads, Row, draw
from wizard.walk.events import Answered, Event, ReadingTaken, Repaired, RepairStruck
from wizard.walk.flow import Step
from wizard.walk.follow_up import Tally, follow_up
from wizard.walk.profile import ProfileRow, loss_profile
from wizard.walk.proof import Foretold, foresee_proof, repair_proofs
from wizard.walk.undersized import undersized
from wizard.walk.walker import assessment_of

_RUNS = {
    "positive": "the positive side, from the battery to the starter",
    "contacts": "the solenoid's main contacts",
    "ground": "the ground side, from the starter back to the battery",
    "control": "the control side, from the start switch to the solenoid",
}
_MADE_UP = "A demo: the vehicle is made up and its meter is simulated. Nothing here was measured on a real one."
# Of one moment a span has one sound band; what was read before a repair keeps the one that it was judged by.
_SOUND = (
    "Sound: at the current as all readings since the last repair tell it; before a repair, as those up to it told it."
)
_POSTS = {"resting": "the battery at rest", "cranking": "the battery while it cranks"}


def compile_report(
    case: Case, *, written: datetime, job: int | None = None, log: Iterable[tuple[datetime, Event]] = ()
) -> tuple[Report, Drawn]:
    """Everything that a job adds up to at this moment; `log` is its events with their times, where these are known.

    `written` is shown in the zone that it carries, the others in that of this machine.
    """
    return _Clerk(case, list(log)).report(written, job)


def session_report(session: Session, written: datetime) -> tuple[Report, Drawn]:
    """The same for a job from the store. Raises DropwalkError, BadFile."""
    log = ((stored.at, stored.event) for stored in session.log)
    return compile_report(session.case(), written=written, job=session.job_id, log=log)


class _Clerk:
    """Writes one report down."""

    def __init__(self, case: Case, log: Sequence[tuple[datetime, Event]]) -> None:
        self.case, self.desk, self.state = case, case.desk, case.state
        self.circuit = case.desk.circuit
        self.names = Names(self.circuit)
        self.moments = {number: at.astimezone() for number, (at, _) in enumerate(log, 1)}
        taken = (number for number, (_, event) in enumerate(log, 1) if isinstance(event, ReadingTaken))
        self.times = {reading: self.moments[number] for reading, number in enumerate(taken, 1)}
        self.proofs = repair_proofs(case)
        self.follow_up = follow_up(case.state)

    @cached_property
    def earlier(self) -> list[Case]:
        """The job as it stood before each repair, the latest first."""
        cases = [self.case]
        while cases[-1].before is not None:
            cases.append(cases[-1].before)
        return cases[1:]

    @cached_property
    def found(self) -> Assessment:
        return assessment_of(self.case, cautions_read=True)

    def report(self, written: datetime, job: int | None) -> tuple[Report, Drawn]:
        rows = draw(self.circuit, self.found, Leads())
        not_tested = list(self._not_tested())
        costs, answers = cost_lines(self.desk, self.state), list(self._answers())
        repairs = repair_lines(self.case, self.proofs)
        report = Report(
            job=job,
            title=printable(self.state.title),
            written=written,
            opened=self.moments.get(1),
            made_up=_MADE_UP if self.state.scenario else "",
            vehicle=dict(self._vehicle()),
            complaint=dict(self._complaint()),
            conditions=dict(self._conditions()),
            customer=customer_page(self.case, self.found, self.proofs, self.follow_up, answers, not_tested),
            finding=" ".join(self._finding()),
            stands="Result" if self.found.next.kind == "finish" else "Next",
            next=self.found.next.why,
            suspects=[self._suspect(s.part, s.fault, s.probability) for s in self.found.suspects[:6]],
            work=self._work(),
            larger=list(self._larger()),
            repairs=repairs,
            answers=answers,
            readings=[self._reading(reading) for reading in self.found.readings],
            sound_at=_SOUND if any(reading.before_repair for reading in self.found.readings) else "",
            parts=list(self._parts(rows)),
            follow_up=follow_up_words(self.follow_up, repairs[-1].unsettled if repairs else []),
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
        yield "Heard at the start", HEARD[symptom] if symptom else "not told"
        if complaint is None:
            return
        yield "Comes and goes", "yes" if complaint.intermittent else "no"
        told = complaint.history
        if told.recently_replaced:
            yield "Replaced before", ", ".join(self.names.part(name) for name in told.recently_replaced)
        if told.helped_by:
            yield "What helped", ", ".join(name.replace("-", " ") for name in told.helped_by)
        if told.woke_up_when_touched:
            yield "Came back when touched", self.names.point(told.woke_up_when_touched)

    def _conditions(self) -> Iterator[tuple[str, str]]:
        yield "Air", f"{self.circuit.air_c:g} C"
        if self.found.current_a and any(r.state == "cranking" for r in self.found.readings):
            low, high = self.found.current_a
            yield "Cranking current", f"{low:.0f} to {show_amps(high)}, as the readings tell"
        if self.state.cranks:
            yield "Timed cranks", f"{self.state.cranks}, {self.state.crank_seconds:.0f} s in all"
        if self.state.out_of_reach:
            yield "Out of reach", ", ".join(self.names.point(point) for point in sorted(self.state.out_of_reach))

    def _labels(self) -> dict[str, str]:
        chart = self.circuit.map
        points = {name: point.label for name, point in chart.points.items()}
        return {name: printable(label) for name, label in [*points.items(), *self._part_labels()]}

    def _part_labels(self) -> Iterator[tuple[str, str]]:
        for name, passive in self.circuit.parts.items():
            part = passive.part
            yield f"part:{name}", part.label
            yield f"size:{name}", f"{part.length_m:g} m {part.size}" if part.length_m and part.size else ""

    # --- readings ------------------------------------------------------------------------------------------------

    def _reading(self, reading: JudgedReading) -> ReadingLine:
        floor = bool(reading.floor)
        taken = self.state.readings[reading.id - 1]
        # What is struck out counts for nothing, yet the paper shows it as it was marked.
        failing = taken.taken.acting_up if reading.struck else reading.acting_up
        value, limit = value_and_limit(reading)
        expected = show_band(*reading.expected_v) if reading.expected_v else ""
        if reading.expected_a:
            expected = f"{reading.expected_a[0]:.0f} to {show_amps(reading.expected_a[1])}"
        judged = (FLOOR_JUDGED if floor else JUDGED)[reading.judgement]
        return ReadingLine(
            id=reading.id,
            at=self.times.get(reading.id),
            state=reading.state,
            span=self.names.span(reading.red, reading.black, reading.clamp),
            value=value,
            volts=reading.volts,
            amps=reading.amps,
            limit=f"{'least ' if floor else ''}{limit}" if limit else "",
            limit_v=reading.limit_v,
            expected=expected,
            judged="struck out" if reading.struck else judged,
            set=taken.repairs_before,
            struck=bool(reading.struck),
            doubt=reading.doubt,
            note="; ".join(filter(None, ["while it failed" if failing else "", printable(reading.note or "")])),
        )

    def _parts(self, rows: list[Row]) -> Iterator[PartLine]:
        for row in rows:
            if row.part in self.circuit.parts:
                drop = row.drop
                assert drop is not None
                yield PartLine(
                    section=str(row.section),
                    part=self.names.part(row.part),
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

    # --- answers -------------------------------------------------------------------------------------------------

    def _answers(self) -> Iterator[AnswerLine]:
        """Every answer that stands, in the order they were given; of a step answered again all of them."""
        repairs = 0
        for number, event in reversed(list(self.state.standing_events())):
            match event:
                case Repaired():
                    repairs += 1
                case RepairStruck():
                    repairs -= 1
                case Answered():
                    step = self.desk.flow.steps.get(event.step)
                    yield AnswerLine(
                        at=None if event.in_file else self.moments.get(number),
                        step=event.step,
                        question=printable(step.title) if step else event.step,
                        choice=event.choice,
                        answer=self._answer(step, event.choice),
                        set=repairs,
                        of_repair=step is not None and step.when == "repaired",
                    )
                case _:
                    pass

    def _answer(self, step: Step | None, choice: str) -> str:
        if step is None:
            return choice
        outcome = step.outcome_of(choice)
        if outcome == choice:
            return printable(step.choices.get(choice, choice))
        return f"{printable(step.choices[outcome])}: {self.names.part(choice)}"

    # --- finding, repair, proof ----------------------------------------------------------------------------------

    def _finding(self) -> Iterator[str]:
        """That the last repair did not help, where it did not, and what is found."""
        if (standing := self.found.standing) is not None and standing.stands == "did-not-help":
            yield printable(standing.told)
        if self.found.finding is not None:
            yield self.found.finding.statement

    def _suspect(self, part: str, fault: str, odds: float) -> str:
        shown = "over 99 %" if odds > 0.99 else "under 1 %" if odds < 0.01 else f"{100 * odds:.0f} %"
        return f"{self.names.part(part)}, {fault.replace('-', ' ')}: {shown}"

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
            sizes=[
                *(line for part in advice.replaces for line in self._sizes(part)),
                *(line for part in advice.lays for line in self._sizes(part, laid=True)),
            ],
            predicted=[self._foreseen(foreseen) for foreseen in foresee_proof(self.case, advice.repair)],
            minutes=advice.minutes,
            cost=advice.cost,
        )

    def _foreseen(self, told: Foretold) -> str:
        figure, where = foreseen_words(self.circuit, told)
        return f"{capitalised(where)}: {figure}"

    def _sizes(self, part: str, *, laid: bool = False) -> Iterator[str]:
        """Sizes for what replaces a part, or for a cable that is laid beside it."""
        yield f"A cable beside {self.names.part(part)}:" if laid else f"{capitalised(self.names.part(part))}:"
        for about, said in (laid_lines if laid else size_lines)(self.desk, self.found, part):
            yield f"{about}: {said}" if about and about not in MARKS else said

    def _larger(self) -> Iterator[LargerLine]:
        """Cables that are too small for their length, but for one that is to be replaced anyway."""
        replaced = advise(self.circuit, shelf.repairs(), self.case.found[0]).replaces if self.case.found else ()
        for small in undersized(self.circuit, self.found.readings, self.found.spans):
            if small.part not in replaced:
                sizes = list(self._sizes(small.part))
                yield LargerLine(part=small.part, label=self.names.part(small.part), sizes=sizes)

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
                earlier = any(drop_between(trusted(at.belief), *self.circuit.runs[run]) for at in self.earlier)
                yield f"Not measured{after if earlier else ''}: {name}."
        role = self.circuit.roles
        for state, name in _POSTS.items():
            if self.case.has(state, role["battery.positive"], role["battery.negative"]) is None:
                earlier = any(at.has(state, role["battery.positive"], role["battery.negative"]) for at in self.earlier)
                yield f"Not measured{after if earlier else ''}: {name}."
        for point in sorted(self.state.out_of_reach):
            yield f"Out of reach: {self.names.point(point)}."
        complaint = self.state.complaint
        if complaint and complaint.intermittent and self.state.repairs:
            for tally in self.follow_up.tallies:
                if not tally.in_a_row:
                    yield f"No start with a {tally.engine} engine was counted since the repair."


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
