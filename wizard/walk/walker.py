"""The walker: from flow, circuit and job to the next step. Screens and files both ask it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Side
from wizard.circuit.network import Observable
from wizard.diagnosis.doubt import doubted, reason, shown_value
from wizard.diagnosis.faults import NO_REPAIR
from wizard.diagnosis.finding import (
    ENOUGH,
    cleared,
    direct_tests,
    expected_band,
    second_fault,
    statement,
    top_repair,
    trusted,
)
from wizard.diagnosis.planner import Act, Prospect, Question, acts, candidates, minutes_for, prospects
from wizard.quantities import show_band, show_volts
from wizard.walk.assessment import Assessment, Finding, Next
from wizard.walk.case import Case, acts_up, symptom_of
from wizard.walk.desk import Desk
from wizard.walk.flow import DAMAGE, EACH_PART, STILL_FAILS, Step, StepKind
from wizard.walk.judged import (
    judged_readings,
    repair_odds,
    spans,
    suspects,
    warnings,
)
from wizard.walk.retest import proved, told_before, unproved, won_back
from wizard.walk.state import JobState

Plan = Literal["walk", "fastest"]
# A repair at these odds is at least worth a reading that shows it, once no test tells it from the others.
_LIKELIER_THAN_NOT = 0.5
# A test that promises less than this, in bits, is not worth a crank.
_WORTH_BITS = 0.03
# A run whose parts have less than this together is not split any further.
_SUSPECTED = 0.04
# A reading that may be wrong by at least these odds may be taken again.
_REPEAT = 0.05
# Parts to move by hand while a fault comes and goes: those with at least these odds, and no more than so many.
_MOVABLE, _MOVED_MOST = 0.002, 20
# Doing something on the odds alone is spoken of at these odds.
_ACT_ODDS = 0.15
# After a repair that helped, the job goes on while something is still wrong with at least these odds.
_LEFT_OVER = 0.25


@dataclass(frozen=True)
class StepView:
    """A step for a list of them: its name and title, and where the walk stands to it."""

    name: str
    title: str
    status: Literal["done", "here", "ahead", "jumped-over", "not-needed"]


def assess(desk: Desk, state: JobState, plan: Plan = "walk", *, cautions_read: bool = False) -> Assessment:
    """The whole answer for one job.

    `cautions_read` takes every caution as read, as a batch does; otherwise a step whose cautions the job has not
    acknowledged comes back as kind `caution`.
    """
    return assessment_of(Case.of(desk, state), plan, cautions_read=cautions_read)


def assessment_of(case: Case, plan: Plan = "walk", *, cautions_read: bool = False) -> Assessment:
    """The same for a case that is at hand already."""
    desk = case.desk
    following = _Walk(case, cautions_read).next(plan)
    middle, spread = case.belief.current_a
    readings, views = judged_readings(case), spans(case)
    return Assessment(
        circuit=desk.circuit.map.circuit,
        flow=desk.flow.flow,
        readings=readings,
        suspects=suspects(case.belief),
        repairs=repair_odds(case.belief),
        next=following,
        finding=_finding(case),
        warnings=warnings(case, readings, views),
        spans=views,
        current_a=(max(0.0, middle - 1.645 * spread), middle + 1.645 * spread),
        enough=bool(case.taken) and top_repair(case.belief)[1] >= 0.25,
    )


def walk_steps(desk: Desk, state: JobState, assessment: Assessment) -> list[StepView]:
    """Every step of the flow with how the walk stands to it, in the flow's order.

    Done is what was read, answered or repaired. What the walk would still ask for before the step at hand was jumped
    over, and so was what can't be reached; what lies on a way that it has not taken is not needed.
    """
    walk = _Walk(Case.of(desk, state), True)
    here = assessment.next.step
    path = walk.path()
    over = desk.flow.on_every_way(path[-1], here or path[-1])
    ahead = desk.flow.onward(here or path[-1])
    views: list[StepView] = []
    for name, step in desk.flow.steps.items():
        if name == here:
            status = "here"
        elif walk.done(name, path):
            status = "done"
        elif name in over or (name in path and walk.barred(name)):
            status = "jumped-over"
        else:
            status = "ahead" if name in ahead else "not-needed"
        views.append(StepView(name, step.title, status))
    return views


def _finding(case: Case) -> Finding | None:
    desk = case.desk
    found, belief, tail = case.found, case.belief, ""
    if found is None and case.before is not None and proved(case):
        found, belief = case.before.found, case.before.belief
        tail = won_back(case)
    if found is None:
        return None
    repair, evidence = found
    rest = cleared(case.belief, desk.limits, None if tail else repair)
    return Finding(
        repair=repair,
        statement=statement(belief, desk.limits, evidence) + tail + rest,
        also=None if tail else second_fault(belief, repair, evidence),
        proved=True if tail else None,
        evidence=list(evidence.drop.numbers),
        cautions=_repair_cautions(desk, repair),
    )


def _repair_cautions(desk: Desk, repair: str) -> list[str]:
    circuit = desk.circuit
    places = {
        str(circuit.map.points[point].place)
        for passive in circuit.parts.values()
        if passive.part.repair == repair
        for point in passive.part.between
    }
    if repair in ("charge-battery", "replace-battery"):
        places.add("battery")
    return desk.cautions.for_deed(str(circuit.repairs[repair].kind), *sorted(places))


class _Walk:
    """Moves through the flow past everything that is done already."""

    def __init__(self, case: Case, cautions_read: bool) -> None:
        self.case = case
        self.desk = case.desk
        self.steps = case.desk.flow.steps
        self.cautions_read = cautions_read

    def next(self, plan: Plan) -> Next:
        """The next thing to do."""
        unread = self._unread_caution()
        if unread is not None:
            return unread
        jumped = self.case.state.jumped_to
        if jumped in self.steps:
            if (asked := self._at(jumped)) is not None:
                return asked
            # A repair or a proof that there is nothing for yet leaves the walk where it stands.
            if self.steps[jumped].kind is StepKind.FINISH:
                return self._finish(jumped)
        for waiting in (self._proof(), self._again(), self._proved_end()):
            if waiting is not None:
                return waiting
        if plan == "fastest":
            return self._fastest()
        return self._follow(self._entry())

    def _again(self) -> Next | None:
        """A doubted reading to take once more, before anything is built on the others; None when there is none."""
        case = self.case
        if case.found is not None:
            return None
        for m in doubted(case.belief):
            if sum(t.measurement.what == m.what for t in case.taken) < 2:
                why = f"Reading {m.number} ({shown_value(m)}) does not fit: {reason(case.belief, m)}. Take it again."
                step = next((n for n, s in self.steps.items() if self._reads(s, m.what)), None)
                return self._measure(m.what, why, step).model_copy(update={"again": m.number})
        return None

    def _reads(self, step: Step, what: Observable) -> bool:
        leads = {self._point(step.red), self._point(step.black)}
        return step.kind is StepKind.MEASURE and step.state == what.state and leads == {what.red, what.black}

    def path(self) -> list[str]:
        """The steps that the walk goes through without a jump, up to the one that it stands at."""
        path = [self._entry()]
        while (outcome := self._outcome(path[-1])) is not None:
            onward = self.steps[path[-1]].then.get(outcome)
            if onward is None or onward in path:
                break
            path.append(onward)
        return path

    def done(self, name: str, path: Sequence[str]) -> bool:
        """Whether a step has what it asks for because something was done, now or before a repair."""
        case, step, state = self.case, self.steps[name], self.case.state
        match step.kind:
            case StepKind.CAUTION:
                return set(step.cautions) <= state.cautions_read
            case StepKind.ASK:
                told = symptom_of(self.desk, state) if step.field else None
                return name in state.answers or told is not None
            case StepKind.MEASURE:
                span = {self._point(step.red), self._point(step.black)}
                return any({r.taken.red, r.taken.black} == span and r.taken.state == step.state for r in state.standing)
            case StepKind.SPLIT:
                if step.run == "loop":
                    return name in path[:-1] and self._read_within(set(self.desk.circuit.parts))
                return self._read_within(self._own_parts(step.run))
            case StepKind.REPAIR:
                return bool(state.repairs)
            case StepKind.PROVE:
                return case.before is not None and proved(case)
            case StepKind.FINISH:
                return False

    def barred(self, name: str) -> bool:
        """Whether a step wants a lead where it can't be put."""
        step = self.steps[name]
        leads = {self._point(step.red), self._point(step.black)}
        return step.kind is StepKind.MEASURE and bool(leads & self.case.state.out_of_reach)

    def _read_within(self, parts: set[str]) -> bool:
        """Whether a reading was taken between ends of these parts that no step of the walk asks for by itself."""
        asked = [
            {self._point(step.red), self._point(step.black)}
            for step in self.steps.values()
            if step.kind is StepKind.MEASURE
        ]
        loaded = [r.taken for r in self.case.state.standing if r.taken.state == "cranking" and not r.taken.clamp]
        return any(
            {taken.red, taken.black} not in asked and self._within(parts, taken.red or "", taken.black or "")
            for taken in loaded
        )

    def _unread_caution(self) -> Next | None:
        if self.cautions_read:
            return None
        name = self.desk.flow.start
        step = self.steps[name]
        if step.kind is StepKind.CAUTION and not set(step.cautions) <= self.case.state.cautions_read:
            return self._caution(name, step)
        return None

    def _caution(self, name: str, step: Step) -> Next:
        return Next(kind="caution", step=name, why=step.why or step.do, cautions=list(step.cautions))

    def _entry(self) -> str:
        """Where the walk starts from: the start, or what follows a repair that did not help."""
        if self.case.before is not None:
            for step in self.steps.values():
                if step.kind is StepKind.PROVE:
                    return step.then["no-better"]
        return self.desk.flow.start

    def _follow(self, name: str) -> Next:
        seen: set[str] = set()
        while name not in seen:
            seen.add(name)
            step = self.steps[name]
            if self.case.found is not None and step.kind in (StepKind.MEASURE, StepKind.SPLIT):
                split = next((s for s in self.steps.values() if s.kind is StepKind.SPLIT), None)
                if split is None:
                    return self._repair(None)
                name = split.then["found"]
                seen.discard(name)
                continue
            outcome = self._outcome(name)
            if outcome is None:
                return self._at(name) or self._finish(name)
            if outcome not in step.then:
                return self._finish(name)
            name = step.then[outcome]
        return self._fastest()

    def _outcome(self, name: str) -> str | None:
        """How a step turned out; None when it still has to be done."""
        case, step = self.case, self.steps[name]
        match step.kind:
            case StepKind.CAUTION:
                read = self.cautions_read or set(step.cautions) <= case.state.cautions_read
                return "read" if read else None
            case StepKind.ASK:
                if not self._applies(step):
                    return step.passed
                told = case.state.answered_now | case.state.answered_in_file
                stale = step.evidence and name not in told
                choice = case.state.answers.get(name)
                if choice is not None and step.allows(choice, self.desk.circuit.parts) and not stale:
                    return step.outcome_of(choice)
                symptom = symptom_of(self.desk, case.state) if step.field else None
                return str(symptom) if symptom in step.choices else None
            case StepKind.MEASURE:
                return self._measured(name, step)
            case StepKind.SPLIT:
                if case.found is not None:
                    return "found"
                return None if self._split_tests(step) else "nothing"
            case StepKind.REPAIR:
                return "done" if case.before is not None and case.found is None else None
            case StepKind.PROVE:
                if case.before is None or unproved(case) is not None:
                    return None
                return "better" if proved(case) else "no-better"
            case StepKind.FINISH:
                return None

    def _measured(self, name: str, step: Step) -> str | None:
        if self.barred(name):
            return "within"
        red, black = self._point(step.red), self._point(step.black)
        state = step.state or "cranking"
        taken = self.case.has(state, red, black)
        if taken is None or self.case.belief.doubt.get(taken.measurement.number, 0.0) > 0.5:
            return None
        _, judgement = self.desk.limits.judge(self.desk.circuit, state, red, black, taken.measurement.value)
        return "within" if judgement == "not-judged" else judgement

    def _point(self, name: str | None) -> str:
        return self.desk.circuit.roles.get(name or "", name or "")

    def _at(self, name: str) -> Next | None:
        """What a step asks for now; None for a step that asks for nothing."""
        step = self.steps[name]
        match step.kind:
            case StepKind.CAUTION:
                return self._caution(name, step)
            case StepKind.ASK:
                return self._ask(name, step)
            case StepKind.MEASURE:
                what = Observable(step.state or "cranking", self._point(step.red), self._point(step.black))
                return self._measure(what, step.why, name)
            case StepKind.SPLIT:
                tests = self._split_tests(step)
                return self._choose(tests, name) if tests else self._fastest()
            case StepKind.REPAIR:
                return self._repair(name) if self.case.found else None
            case StepKind.PROVE:
                return self._proof() if self.case.before is not None else None
            case StepKind.FINISH:
                return None

    # --- splitting and searching ---------------------------------------------------------------------------------

    def _split_tests(self, step: Step) -> list[Prospect]:
        """Tests worth doing within a run, the best first; none when the run is not suspected any more."""
        if step.run == "loop":
            return self._worthwhile(self._tests(), self._questions())
        own, belief = self._own_parts(step.run), self.case.belief
        odds = belief.site_probability
        sites = belief.model.sites
        if sum(float(odds[n]) for n, site in enumerate(sites) if site.part in own) < _SUSPECTED:
            return []
        inside = [t for t in self._tests() if not t.clamp and self._within(own, t.red, t.black)]
        return self._worthwhile(inside, [])

    def _within(self, parts: Iterable[str], red: str, black: str) -> bool:
        """Whether both leads are on ends of these parts."""
        points = {end for name in parts for end in self.desk.circuit.parts[name].part.between}
        return {red, black} <= points

    def _own_parts(self, run: str | None) -> set[str]:
        """The parts that a step splits a run of: those of its side, and of the contacts the contacts alone."""
        circuit = self.desk.circuit
        side = {"positive": Side.POSITIVE, "contacts": Side.POSITIVE, "ground": Side.GROUND}.get(
            run or "", Side.CONTROL
        )
        own = {n for n, p in circuit.parts.items() if p.part.side is side}
        contacts = circuit.map.solenoid.contacts
        return {contacts} if run == "contacts" else own - {contacts}

    def _tests(self) -> list[Observable]:
        case = self.case
        known = frozenset(p for t in case.taken for p in (t.measurement.what.red, t.measurement.what.black) if p)
        done = {(m.what.state, frozenset((m.what.red, m.what.black)), m.what.clamp) for m in trusted(case.belief)}
        return [
            t
            for t in candidates(self.desk.circuit, case.reach, known)
            if (t.state, frozenset((t.red, t.black)), t.clamp) not in done
        ]

    def _applies(self, step: Step) -> bool:
        """Whether a step is for this complaint."""
        complaint = self.case.state.complaint
        match step.when:
            case None:
                return True
            case "repaired":
                return self.case.before is not None
            case "intermittent":
                return complaint is not None and complaint.intermittent

    def _choices(self, step: Step) -> list[str]:
        """What can be answered, with the likeliest parts by name where a step asks for one."""
        belief = self.case.belief
        ranked = sorted(zip(belief.site_probability, belief.model.sites, strict=True), key=lambda pair: -pair[0])
        loop = set(self.desk.circuit.main_loop)
        parts = [site.part for odds, site in ranked if site.part in loop and odds >= _MOVABLE][:_MOVED_MOST]
        return [one for choice in step.choices for one in (parts if choice == EACH_PART else [choice])]

    def _questions(self, *, provoking: bool = False) -> list[Question]:
        """Questions whose answers are evidence; `provoking` ones make a fault that comes and goes show itself."""
        asked: list[Question] = []
        told = self.case.state.answered_now | self.case.state.answered_in_file
        for name, step in self.steps.items():
            if not step.evidence or name in told or not self._applies(step):
                continue
            if (step.when == "intermittent") != provoking:
                continue
            tables = {choice: step.evidence_for(choice) for choice in self._choices(step)}
            asked.append(Question(name, step.minutes, {choice: table for choice, table in tables.items() if table}))
        return asked

    def _worthwhile(self, tests: Sequence[Observable], questions: Sequence[Question]) -> list[Prospect]:
        """Tests that promise enough, the best for its minutes first.

        When one repair is likely enough but nothing shows it yet, the quickest reading that would goes first.
        """
        if showing := self._showing(ENOUGH):
            return showing
        ranked = prospects(self.case.belief, tests, questions, self.case.reach)
        return [p for p in ranked if p.bits >= _WORTH_BITS]

    def _showing(self, likely: float) -> list[Prospect]:
        """Readings that would show the likeliest repair directly, the quickest first, when its odds are this good."""
        case = self.case
        repair, odds = top_repair(case.belief)
        if repair == NO_REPAIR or odds < likely or case.found is not None:
            return []
        direct = direct_tests(case.belief, repair, case.reach)
        return [Prospect(minutes_for(self.desk.circuit, what, case.reach), 1.0, 0.0, what=what) for what in direct]

    def _fastest(self) -> Next:
        case = self.case
        if case.found is not None:
            return self._repair(None)
        if not case.state.repairs and symptom_of(self.desk, case.state) is None:
            for name, step in self.steps.items():
                if step.field == "symptom" and name not in case.state.answers:
                    asked = self._at(name)
                    if asked is not None:
                        return asked
        tests = self._worthwhile(self._tests(), self._questions()) or self._showing(_LIKELIER_THAN_NOT)
        if not tests:
            # Plain readings have run out: a fault that comes and goes has to be made to show itself.
            tests = prospects(case.belief, [], self._questions(provoking=True), case.reach)
        return self._choose(tests, None) if tests else self._finish(None)

    def _choose(self, tests: Sequence[Prospect], step: str | None) -> Next:
        """The first test, with the two best of everything else that could be done now and why the first wins."""
        best = tests[0]
        following = self._prospect(best, step)
        if best.after <= 0.0:
            return following
        doable = [(act.in_all, self._act(act)) for act in acts(self.case.belief) if act.odds >= _ACT_ODDS]
        others = [(test.in_all, self._prospect(test, None)) for test in tests[1 : 2 if doable else 3]]
        others = sorted([*others, *doable[:1]], key=lambda pair: pair[0])
        quicker = [pair for pair in others if pair[1].kind != "measure" and pair[0] < best.in_all]
        why = f"{following.why} In all about {best.in_all:.0f} minutes to a proven repair."
        if quicker:
            why += f" Quicker by the odds, and shown by nothing yet: {quicker[0][1].why}"
        return following.model_copy(
            update={"why": why, "alternatives": [_in_all(other, total) for total, other in others]}
        )

    def _ask(self, name: str, step: Step) -> Next:
        """A question; one about what is found on opening says what to open."""
        why, repair = step.why, None
        if self.case.found is not None and DAMAGE in step.choices:
            repair, evidence = self.case.found
            part = self.desk.circuit.parts.get(evidence.site.part)
            what = f"the {part.part.label}" if part else f"the {evidence.site.part}"
            why = f"Look at {what}. {why}"
        minutes = step.minutes
        return Next(kind="ask", step=name, why=why, choices=self._choices(step), minutes=minutes, repair=repair)

    def _act(self, act: Act) -> Next:
        """Something that could be done on the odds alone."""
        label = self.desk.circuit.repairs[act.repair].label
        if act.look:
            step = next((n for n, s in self.steps.items() if s.kind is StepKind.ASK and DAMAGE in s.choices), None)
            return Next(
                kind="ask",
                step=step,
                repair=act.repair,
                minutes=act.minutes,
                why=f"Open it up and look, before: {label}.",
            )
        return Next(
            kind="repair",
            repair=act.repair,
            minutes=act.minutes,
            why=f"Do it now: {label} ({act.odds:.0%} likely).",
            cautions=_repair_cautions(self.desk, act.repair),
        )

    def _prospect(self, prospect: Prospect, step: str | None) -> Next:
        if prospect.step is not None:
            asked = self._at(prospect.step)
            assert asked is not None
            return asked
        assert prospect.what is not None
        return self._measure(prospect.what, self._reason(prospect), step)

    def _reason(self, prospect: Prospect) -> str:
        """Why a test: which suspects it tells apart."""
        what, circuit, belief = prospect.what, self.desk.circuit, self.case.belief
        assert what is not None
        if what.clamp:
            return "It ties down the cranking current, and with it what every sound part would lose."
        inside = set(circuit.path(what.red, what.black) or ())
        row = self.desk.limits.floor_row(circuit, what.state, what.red, what.black)
        if row == "battery-resting":
            return "It tells whether the battery is charged enough for the other tests to mean anything."
        if row == "battery-cranking":
            return "It tells whether the battery holds up under the starter."
        if row == "motor-feed":
            return "It tells what the motor really gets: with good volts there, the motor is at fault."
        ranked = sorted(zip(belief.site_probability, belief.model.sites, strict=True), key=lambda p: -p[0])
        likely = [site.part for odds, site in ranked if odds >= 0.02]
        within = _listed(_label(circuit, n) for n in likely if n in inside)
        outside = _listed(_label(circuit, n) for n in likely if n not in inside)
        if len(inside) == 1 and within:
            return f"It shows what {within} alone loses."
        if within and outside:
            return f"One reading separates {within} from {outside}."
        if within:
            return f"It shows whether {within} loses too much."
        return "It clears what lies between these points."

    def _measure(self, what: Observable, why: str, step: str | None) -> Next:
        desk, circuit = self.desk, self.desk.circuit
        minutes = minutes_for(circuit, what, self.case.reach)
        points = circuit.map.points
        places = sorted({str(points[p].place) for p in (what.red, what.black) if p})
        expected = expected_band(self.case.belief, what)
        intermittent = self.case.state.complaint is not None and self.case.state.complaint.intermittent
        failing = True if intermittent and acts_up(desk, self.case.state) else None
        if what.clamp:
            return Next(
                kind="measure",
                acting_up=failing,
                step=step,
                state=what.state,
                clamp=what.clamp,
                minutes=round(minutes, 1),
                why=why,
                cautions=desk.cautions.for_deed(what.state),
            )
        limit, _ = desk.limits.judge(circuit, what.state, what.red, what.black, 0.0)
        return Next(
            kind="measure",
            acting_up=failing,
            step=step,
            state=what.state,
            red=what.red,
            black=what.black,
            minutes=round(minutes, 1),
            why=why,
            limit_v=limit,
            expected_v=expected,
            cautions=desk.cautions.for_deed(what.state, *places),
        )

    # --- repair, proof, end --------------------------------------------------------------------------------------

    def _repair(self, step: str | None) -> Next:
        assert self.case.found is not None
        repair, _ = self.case.found
        work = self.desk.circuit.repairs[repair]
        if step is None:
            step = next((n for n, s in self.steps.items() if s.kind is StepKind.REPAIR), None)
        return Next(
            kind="repair",
            step=step,
            repair=repair,
            minutes=work.minutes,
            why=self._called_for(repair),
            cautions=_repair_cautions(self.desk, repair),
        )

    def _called_for(self, repair: str) -> str:
        label = self.desk.circuit.repairs[repair].label
        if repair in self.case.state.repairs:
            return (
                f"It was done before, and the readings still call for it: {label}. Look for why it did not hold, and "
                "replace what is worn."
            )
        return f"The readings call for it: {label}."

    def _proof(self) -> Next | None:
        """The span to measure again after the repair; None when there is none."""
        case = self.case
        if case.before is None:
            return None
        step = next((n for n, s in self.steps.items() if s.kind is StepKind.PROVE), None)
        what = unproved(case)
        if what is not None:
            again = self._measure(what, "", step)
            repair = self.desk.circuit.repairs[case.state.repairs[-1]].label
            sound = "" if what.clamp else f" A sound one reads {show_band(*again.expected_v or (0, 0))}."
            if numbers := told_before(case, what):
                both = " and ".join(map(str, numbers))
                sound += f" Before, it was the difference of readings {both}; now read straight across."
            return again.model_copy(
                update={
                    "kind": "prove",
                    "why": f"Measure the same span again under the same load, after: {repair}.{sound}",
                }
            )
        return None

    def _proved_end(self) -> Next | None:
        """What follows a repair that helped and left nothing that is likely to want another."""
        case = self.case
        if case.found is not None or not proved(case) or self._remaining() >= _LEFT_OVER:
            return None
        step = next((s for s in self.steps.values() if s.kind is StepKind.PROVE), None)
        return self._follow(step.then["better"]) if step else self._finish(None)

    def _remaining(self) -> float:
        """Odds that something still wants a repair."""
        return 1.0 - self.case.belief.repair_probability[NO_REPAIR]

    def _still_fails(self) -> bool:
        """Whether the last repair left what is heard as it was, by the answer at a step that says so."""
        state = self.case.state
        return any(name in state.answered_now and state.answers[name] == STILL_FAILS for name in state.answers)

    def _hiding(self) -> str:
        """What is left to say of a fault that comes and goes and did not show itself."""
        belief, circuit = self.case.belief, self.desk.circuit
        ranked = sorted(zip(belief.site_probability, belief.model.sites, strict=True), key=lambda pair: -pair[0])
        likely = _listed(_label(circuit, site.part) for odds, site in ranked if odds >= 0.05)
        spare, whole = belief.spare_v
        where = f" It hides most likely in {likely}." if likely else ""
        return (
            f"Nothing wrong was shown while it cranks: {show_volts(spare)} are left before it stalls, where a sound "
            f"circuit has {show_volts(whole)}.{where} Measure while it fails, and mark those readings."
        )

    def _finish(self, step: str | None) -> Next:
        case = self.case
        if step is None:
            ends = [n for n, s in self.steps.items() if s.kind is StepKind.FINISH]
            step = ends[-1] if ends else None
        if proved(case) and self._remaining() < 0.5 and not self._still_fails():
            return Next(kind="finish", step=step, why="The repair helped." + won_back(case))
        sound = case.belief.repair_probability[NO_REPAIR]
        complaint = case.state.complaint
        if complaint is not None and complaint.intermittent and top_repair(case.belief)[1] < ENOUGH:
            return Next(kind="finish", step=step, why=self._hiding())
        if sound >= 0.8 or top_repair(case.belief)[0] == NO_REPAIR:
            why = "Nothing wrong was shown: every span that was measured reads as a sound circuit would."
            return Next(kind="finish", step=step, why=why)
        repair, odds = top_repair(case.belief)
        label = self.desk.circuit.repairs[repair].label
        if repair in case.state.repairs:
            why = (
                f"This was done and the readings still point there: {label} ({odds:.0%}). Check the work and the new "
                "part before anything else is replaced, and go by the maker's information from here."
            )
            return Next(kind="finish", step=step, why=why)
        return Next(
            kind="finish",
            step=step,
            why=(
                "The tests within reach are exhausted and none of them shows one repair alone. "
                f"The likeliest is: {label} ({odds:.0%}). Do not replace on odds alone."
            ),
        )


def _in_all(other: Next, minutes: float) -> Next:
    return other.model_copy(update={"why": f"{other.why} In all about {minutes:.0f} minutes."})


def _label(circuit: Circuit, name: str) -> str:
    return f"the {circuit.parts[name].part.label}" if name in circuit.parts else f"the {name}"


def _listed(labels: Iterable[str]) -> str:
    """Up to two things by name, the rest by number."""
    names = list(dict.fromkeys(labels))
    if len(names) <= 2:
        return " and ".join(names)
    return f"{names[0]}, {names[1]} and {len(names) - 2} more"
