"""The walker: from flow, circuit and job to the next step. Screens and files both ask it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from wizard.circuit.network import Observable
from wizard.diagnosis.doubt import doubted
from wizard.diagnosis.evidence import DOUBTED
from wizard.diagnosis.finding import spent, top_repair
from wizard.diagnosis.planner import Prospect, acts
from wizard.diagnosis.sentences import cleared, second_fault, statement
from wizard.walk.asking import Asking, in_all, repair_cautions
from wizard.walk.assessment import Assessment, Finding, Next
from wizard.walk.case import Case, symptom_of
from wizard.walk.desk import Desk
from wizard.walk.flow import NOT_SURE, Step, StepKind
from wizard.walk.judged import judged_readings, remarks, repair_odds, spans, suspects
from wizard.walk.profile import sound_along
from wizard.walk.retest import proved, unproved, won_back
from wizard.walk.searching import Search
from wizard.walk.standing import LEFT_OVER, standing
from wizard.walk.state import JobState

Plan = Literal["walk", "fastest"]
# Doing something on the odds alone is spoken of at these odds.
_ACT_ODDS = 0.15


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
        suspects=suspects(case),
        repairs=repair_odds(case),
        next=following,
        finding=_finding(case),
        remarks=remarks(case, readings, views),
        spans=views,
        along=sound_along(case),
        current_a=(max(0.0, middle - 1.645 * spread), middle + 1.645 * spread),
        enough=bool(case.taken) and top_repair(case.belief)[1] >= 0.25,
        standing=standing(case),
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
        elif walk.passed(name, path):
            status = "not-needed"
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
        cautions=repair_cautions(desk, repair),
    )


class _Walk:
    """Moves through the flow past everything that is done already."""

    def __init__(self, case: Case, cautions_read: bool) -> None:
        self.case = case
        self.desk = case.desk
        self.steps = case.desk.flow.steps
        self.cautions_read = cautions_read
        self.asking, self.search = Asking(case), Search(case)

    def next(self, plan: Plan) -> Next:
        """The next thing to do."""
        unread = self._unread_caution()
        if unread is not None:
            return unread
        jumped = self.case.state.jumped_to
        if jumped in self.steps:
            if (asked := self._at(jumped)) is not None:
                return asked
            # A repair, a proof or the end of one that there is nothing for yet leaves the walk where it stands.
            if self.steps[jumped].kind is StepKind.FINISH and (jumped == self.asking.last or proved(self.case)):
                return self.asking.finish(jumped, left=bool(self.search.anywhere()))
        for waiting in (self.asking.proof(), self._again(), self._proved_end()):
            if waiting is not None:
                return waiting
        if self.case.before is not None and spent(self.case.belief, self.desk.limits):
            return self.asking.finish(None)
        if plan == "fastest":
            return self._fastest()
        return self._follow(self._entry())

    def _again(self) -> Next | None:
        """A doubted reading to take once more, before anything is built on the others; None when there is none."""
        case = self.case
        if case.found is not None:
            return None
        for m in doubted(case.belief):
            if case.awaited is not None and m.what != case.awaited.what:
                continue
            if sum(t.measurement.what == m.what for t in case.taken) < 2:
                step = next((n for n, s in self.steps.items() if self._reads(s, m.what)), None)
                return self.asking.again(m, step)
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
                return self._read_within(self.search.own_parts(step.run))
            case StepKind.REPAIR:
                return bool(state.repairs)
            case StepKind.PROVE:
                return case.before is not None and proved(case)
            case StepKind.FINISH:
                return False

    def passed(self, name: str, path: Sequence[str]) -> bool:
        """Whether the walk came by a split that there was nothing to split at."""
        return name in path[:-1] and self.steps[name].kind is StepKind.SPLIT and self._outcome(name) == "nothing"

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
            {taken.red, taken.black} not in asked and self.search.within(parts, taken.red or "", taken.black or "")
            for taken in loaded
        )

    def _unread_caution(self) -> Next | None:
        if self.cautions_read:
            return None
        name = self.desk.flow.start
        step = self.steps[name]
        if step.kind is StepKind.CAUTION and not set(step.cautions) <= self.case.state.cautions_read:
            return self.asking.caution(name)
        return None

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
                    return self.asking.repair(None)
                name = split.then["found"]
                seen.discard(name)
                continue
            outcome = self._outcome(name)
            if outcome is None and self.search.awaits_elsewhere(step):
                splits = (n for n, s in self.steps.items() if s.kind is StepKind.SPLIT)
                return self._choose(
                    self.search.anywhere(),
                    next((n for n in splits if not self.search.awaits_elsewhere(self.steps[n])), None),
                )
            if outcome is None:
                return self._at(name) or self.asking.finish(name)
            if outcome not in step.then:
                return self.asking.finish(name)
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
                if not self.search.applies(step):
                    return self._borne_out(step, step.passed)
                told = case.state.answered_now | case.state.answered_in_file
                stale = step.evidence and name not in told
                choice = case.state.answers.get(name)
                if choice is not None and step.allows(choice, self.desk.circuit.parts) and not stale:
                    return self._borne_out(step, step.outcome_of(choice))
                symptom = symptom_of(self.desk, case.state) if step.field else None
                return str(symptom) if symptom in step.choices else None
            case StepKind.MEASURE:
                return self._measured(name, step)
            case StepKind.SPLIT:
                if case.found is not None:
                    return "found"
                sound = step.of is not None and not self.barred(step.of) and self._outcome(step.of) == "within"
                return "nothing" if sound or not self.search.split_tests(step) else None
            case StepKind.REPAIR:
                return "done" if case.before is not None and case.found is None else None
            case StepKind.PROVE:
                if case.before is None or unproved(case) is not None:
                    return None
                return "better" if proved(case) else "no-better"
            case StepKind.FINISH:
                return None

    def _borne_out(self, step: Step, outcome: str) -> str:
        """Whether enough good starts were counted is for the count to say; a failed one is taken at the user's word."""
        if step.counted is None or outcome not in (step.counted, NOT_SURE):
            return outcome
        return NOT_SURE if self.asking.uncounted() else step.counted

    def _measured(self, name: str, step: Step) -> str | None:
        if self.barred(name):
            return "within"
        red, black = self._point(step.red), self._point(step.black)
        state = step.state or "cranking"
        taken = self.case.has(state, red, black)
        if taken is None or self.case.belief.doubt.get(taken.measurement.number, 0.0) >= DOUBTED:
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
                return self.asking.caution(name)
            case StepKind.ASK:
                if not self.cautions_read and not set(step.cautions) <= self.case.state.cautions_read:
                    return self.asking.caution(name)
                return self._question(name)
            case StepKind.MEASURE:
                what = Observable(step.state or "cranking", self._point(step.red), self._point(step.black))
                return self.asking.measure(what, step.why, name)
            case StepKind.SPLIT:
                tests = self.search.split_tests(step)
                return self._choose(tests, name) if tests else self._fastest()
            case StepKind.REPAIR:
                return self.asking.repair(name) if self.case.found else None
            case StepKind.PROVE:
                return self.asking.proof() if self.case.before is not None else None
            case StepKind.FINISH:
                return None

    def _fastest(self) -> Next:
        case = self.case
        if case.found is not None:
            return self.asking.repair(None)
        if not case.state.repairs and symptom_of(self.desk, case.state) is None:
            for name, step in self.steps.items():
                if step.field == "symptom" and name not in case.state.answers:
                    asked = self._at(name)
                    if asked is not None:
                        return asked
        tests = self.search.anywhere()
        return self._choose(tests, None) if tests else self.asking.finish(None)

    def _choose(self, tests: Sequence[Prospect], step: str | None) -> Next:
        """The first test, with the two best of everything else that could be done now and why the first wins."""
        best = tests[0]
        following = self._prospect(best, step) if best.step is None else self._at(best.step)
        assert following is not None
        if best.after <= 0.0:
            return following
        doable = [(act.in_all, self.asking.act(act)) for act in acts(self.case.belief) if act.odds >= _ACT_ODDS]
        others = [(test.in_all, self._prospect(test, None)) for test in tests[1 : 2 if doable else 3]]
        others = sorted([*others, *doable[:1]], key=lambda pair: pair[0])
        quicker = [pair for pair in others if pair[1].kind != "measure" and pair[0] < best.in_all]
        why = f"{following.why} In all about {best.in_all:.0f} minutes to a proven repair, its cost counted in."
        if quicker:
            why += f" Quicker by the odds, and shown by nothing yet: {quicker[0][1].why}"
        return following.model_copy(
            update={"why": why, "alternatives": [in_all(other, total) for total, other in others]}
        )

    def _prospect(self, prospect: Prospect, step: str | None) -> Next:
        if prospect.step is not None:
            return self._question(prospect.step)
        assert prospect.what is not None
        return self.asking.test(prospect.what, step)

    def _question(self, name: str) -> Next:
        return self.asking.ask(name, self.search.choices(self.steps[name]))

    def _proved_end(self) -> Next | None:
        """What follows a repair that helped and left nothing that is likely to want another."""
        case = self.case
        if case.found is not None or not proved(case) or self.asking.remaining() >= LEFT_OVER:
            return None
        step = next((s for s in self.steps.values() if s.kind is StepKind.PROVE), None)
        return self._follow(step.then["better"]) if step else self.asking.finish(None)
