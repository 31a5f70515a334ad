"""Which readings and questions are worth their minutes, within a run or anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wizard.circuit.map import Side
from wizard.circuit.network import Observable
from wizard.diagnosis.faults import FREE_ENGINE, NEW_STARTER, NO_REPAIR
from wizard.diagnosis.finding import ENGINE_DRAGS, ENOUGH, direct_tests, surely_needed, top_repair, trusted
from wizard.diagnosis.planner import Prospect, Question, candidates, minutes_for, prospects
from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.flow import EACH_PART, LONG_MINUTES, Step, StepKind

# A repair at these odds is at least worth a reading that shows it, once no test tells it from the others.
_LIKELIER_THAN_NOT = 0.5
# So few repairs left are a finding of where to look, though not of what to do.
_FEW = 3
# A starter less likely than this is not taken off for a test.
_WORTH_A_BENCH = 0.15
# A test that promises less than this, in bits, is not worth a crank.
_WORTH_BITS = 0.03
# A run whose parts have less than this together is not split any further.
_SUSPECTED = 0.04
# What is heard clears the control side when its parts have less than this together.
_BY_SOUND = 0.1
# Parts to move by hand while a fault comes and goes: those with at least these odds, and no more than so many.
_MOVABLE, _MOVED_MOST = 0.002, 20


def _joined(start: str, spans: Iterable[Observable]) -> set[str]:
    """The points that spans laid end to end lead to from a point."""
    left, found = list(spans), {start}
    while near := [what for what in left if {what.red, what.black} & found]:
        found |= {point for what in near for point in (what.red, what.black)}
        left = [what for what in left if what not in near]
    return found


@dataclass(frozen=True)
class Search:
    """Looks for the next test of one case."""

    case: Case

    @property
    def desk(self) -> Desk:
        """What the case is judged by."""
        return self.case.desk

    def anywhere(self) -> list[Prospect]:
        """Tests worth doing anywhere, the best first."""
        case = self.case
        likely = max(_WORTH_A_BENCH, _LIKELIER_THAN_NOT * self._wrong)
        if tests := self._worthwhile(self._tests(), self._questions()) or self._showing(likely):
            return tests
        if case.found is None and not self._pinned() and (unread := self._unread()):
            # However little it promises, nothing is called sound before battery, both sides and contacts were read.
            return prospects(case.belief, unread, [], case.reach)
        # When plain readings have run out, a fault that comes and goes has to be made to show itself.
        return prospects(case.belief, [], self._questions(provoking=True), case.reach)

    def split_tests(self, step: Step) -> list[Prospect]:
        """Tests worth doing within a run, the best first; none when the run is not suspected any more."""
        if step.run == "loop":
            return self._worthwhile(self._tests(), self._questions())
        own, belief = self.own_parts(step.run), self.case.belief
        odds = belief.site_probability
        sites = belief.model.sites
        if sum(float(odds[n]) for n, site in enumerate(sites) if site.part in own) < _SUSPECTED:
            return []
        inside = [t for t in self._tests() if not t.clamp and self.within(own, t.red, t.black)]
        return self._worthwhile(inside, [])

    def awaits_elsewhere(self, step: Step) -> bool:
        """Whether a reading is awaited that has nothing to do with a step that reads or splits."""
        awaited = self.case.awaited
        if awaited is None:
            return False
        if step.kind is StepKind.SPLIT and step.run != "loop":
            return not self.within(self.own_parts(step.run), awaited.what.red, awaited.what.black)
        return step.kind is StepKind.MEASURE

    def within(self, parts: Iterable[str], red: str, black: str) -> bool:
        """Whether both leads are on ends of these parts."""
        points = {end for name in parts for end in self.desk.circuit.parts[name].part.between}
        return {red, black} <= points

    def own_parts(self, run: str | None) -> set[str]:
        """The parts that a step splits a run of: those of its side, and of the contacts the contacts alone."""
        circuit = self.desk.circuit
        side = {"positive": Side.POSITIVE, "contacts": Side.POSITIVE, "ground": Side.GROUND}.get(
            run or "", Side.CONTROL
        )
        own = {n for n, p in circuit.parts.items() if p.part.side is side}
        contacts = circuit.map.solenoid.contacts
        return {contacts} if run == "contacts" else own - {contacts}

    def _tests(self) -> list[Observable]:
        """Readings within reach that were not taken yet."""
        case = self.case
        known = frozenset(p for t in case.taken for p in (t.measurement.what.red, t.measurement.what.black) if p)
        done = {(m.what.state, frozenset((m.what.red, m.what.black)), m.what.clamp) for m in trusted(case.belief)}
        tests = candidates(self.desk.circuit, case.reach, known)
        if self._contacts_close():
            tests = [t for t in tests if not self._of_control(t)]
        return [t for t in tests if (t.state, frozenset((t.red, t.black)), t.clamp) not in done]

    def _contacts_close(self) -> bool:
        """Whether what is heard clears the control side: a solenoid that has the engine turned has volts enough."""
        belief = self.case.belief
        if belief.evidence.intermittent or not belief.evidence.turns:
            return False
        own, odds = self.own_parts("control"), belief.site_probability
        return sum(float(odds[n]) for n, site in enumerate(belief.model.sites) if site.part in own) < _BY_SOUND

    def _pinned(self) -> bool:
        """Whether the readings leave a few repairs and nothing else."""
        odds = [share for name, share in self.case.belief.repair_probability.items() if name != NO_REPAIR]
        return sum(sorted(odds)[-_FEW:]) >= ENOUGH

    def _unread(self) -> list[Observable]:
        """What a sound circuit has to show, as far as it is within reach and readings end to end do not cover it yet:
        the battery at rest and under load, and what is lost from its posts to the motor and back under load.
        """
        case, circuit = self.case, self.desk.circuit
        posts = circuit.roles["battery.positive"], circuit.roles["battery.negative"]
        drops = [circuit.runs[run] for run in ("positive", "contacts", "ground")]
        read = [m.what for away in (True, False) for m in trusted(case.belief, away=away) if not m.what.clamp]
        rest = [what for what in read if what.state == "resting"]
        load = [m.what for m in trusted(case.belief) if m.what.state == "cranking" and not m.what.clamp]
        across = [what for what in load if {what.red, what.black} == {*posts}]
        along = [what for what in load if what not in across]
        wanted = [("resting", posts, rest), ("cranking", posts, across), *(("cranking", drop, along) for drop in drops)]
        return [
            Observable(state, red, black)
            for state, (red, black), spans in wanted
            if not {red, black} & case.reach.out_of_reach and black not in _joined(red, spans)
        ]

    def _of_control(self, test: Observable) -> bool:
        coil = frozenset(self.desk.circuit.map.solenoid.coil)
        whole = not test.clamp and self.within(self.own_parts("control"), test.red, test.black)
        return whole or frozenset((test.red, test.black)) == coil

    def applies(self, step: Step) -> bool:
        """Whether a step is for this complaint."""
        complaint = self.case.state.complaint
        match step.when:
            case None:
                return True
            case "repaired":
                return self.case.before is not None
            case "intermittent":
                return complaint is not None and complaint.intermittent
            case "opens":
                found = self.case.found
                return found is None or self.desk.circuit.opens(found[1].site.part)
            case "starter":
                return self._starter_in_question()
            case "fails":
                evidence = self.case.belief.evidence
                return not (evidence.turns_well or evidence.away_now)

    def _starter_in_question(self) -> bool:
        """Whether the starter is likelier at fault than not, and no reading is left that would show it."""
        case = self.case
        starter = case.belief.repair_probability.get(NEW_STARTER, 0.0)
        if case.found is not None or starter < _WORTH_A_BENCH or starter < _LIKELIER_THAN_NOT * self._wrong:
            return False
        if self._by_hand():
            return False
        return NEW_STARTER not in case.state.repairs and not direct_tests(case.belief, NEW_STARTER, case.reach)

    @property
    def _wrong(self) -> float:
        """Odds that something is wrong, to weigh the repairs by: what is heard to crank badly has something."""
        belief = self.case.belief
        return 1.0 - belief.repair_probability[NO_REPAIR] if belief.evidence.turns_well is False else 1.0

    def choices(self, step: Step) -> list[str]:
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
        for name, step in self.desk.flow.steps.items():
            if not step.evidence or name in told or not self.applies(step):
                continue
            if (step.when == "intermittent") != provoking:
                continue
            if step.minutes >= LONG_MINUTES and not self._loaded():
                # What takes long by hand waits until the meter was on it once with start held.
                continue
            tables = {choice: step.evidence_for(choice) for choice in self.choices(step)}
            asked.append(Question(name, step.minutes, {choice: table for choice, table in tables.items() if table}))
        return asked

    def _loaded(self) -> bool:
        """Whether anything was read with start held yet."""
        return any(taken.measurement.what.state == "cranking" for taken in self.case.taken)

    def _worthwhile(self, tests: Sequence[Observable], questions: Sequence[Question]) -> list[Prospect]:
        """Tests that promise enough, the best for its minutes first.

        When one repair is likely enough but nothing shows it yet, the quickest reading that would goes first.
        """
        if awaited := self.case.awaited:
            return [self._shows(awaited.what)]
        if showing := self._showing(ENOUGH):
            return showing
        repair, odds = top_repair(self.case.belief)
        # What is sure, and nothing within reach shows, must not hide what else is wrong.
        aside = repair if odds >= ENOUGH and repair != NO_REPAIR else None
        ranked = prospects(self.case.belief, tests, questions, self.case.reach, aside)
        return [p for p in ranked if p.bits >= _WORTH_BITS]

    def _showing(self, likely: float) -> list[Prospect]:
        """Readings that would show a repair of these odds directly, the quickest first."""
        case = self.case
        if case.found is not None:
            return []
        needed = surely_needed(case.belief, likely)
        shows = (direct_tests(case.belief, repair, case.reach) for repair in needed)
        if direct := next(filter(None, shows), None):
            return [self._shows(what) for what in direct]
        # Between starter and engine nothing but a hand on the engine tells, and then the starter's own test.
        asked = self._by_hand() if {NEW_STARTER, FREE_ENGINE} & {*needed} else []
        if not asked and NEW_STARTER in needed:
            asked = self._unanswered("starter")
        return [Prospect(self.desk.flow.steps[name].minutes, 1.0, 0.0, step=name) for name in asked]

    def _by_hand(self) -> list[str]:
        """Steps not answered yet that tell whether the engine is free."""
        steps = self.desk.flow.steps
        return [
            name
            for name in self._unanswered("fails")
            if any(ENGINE_DRAGS in table for table in steps[name].evidence.values())
        ]

    def _unanswered(self, when: str) -> list[str]:
        """Steps of a sort that ask, are for this job and were not answered yet."""
        told = self.case.state.answered_now | self.case.state.answered_in_file
        steps = self.desk.flow.steps.items()
        return [name for name, step in steps if step.when == when and name not in told and self.applies(step)]

    def _shows(self, what: Observable) -> Prospect:
        return Prospect(minutes_for(self.desk.circuit, what, self.case.reach), 1.0, 0.0, what=what)
