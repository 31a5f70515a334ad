"""What is asked for next, in words: a caution, a question, a reading, a repair, its proof, or the end."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import RepairKind
from wizard.circuit.network import Observable
from wizard.diagnosis.doubt import reason, shown_value
from wizard.diagnosis.evidence import Measurement
from wizard.diagnosis.faults import CHARGE, FREE_ENGINE, NEW_BATTERY, NEW_STARTER, NO_REPAIR
from wizard.diagnosis.finding import ENOUGH, expected_band, failed_by_hand, top_repair, trusted
from wizard.diagnosis.planner import Act, minutes_for
from wizard.quantities import show_band, show_volts
from wizard.walk.assessment import Next
from wizard.walk.case import Case, acts_up
from wizard.walk.desk import Desk
from wizard.walk.flow import DAMAGE, NOT_SURE, STILL_FAILS, Step, StepKind
from wizard.walk.follow_up import follow_up
from wizard.walk.judged import judged_readings
from wizard.walk.retest import earlier_reads, proved, repaired_span, unproved, won_back

# A fault that is no cause to repair is told of in so many places at the most, each with at least these odds.
_FEW_PLACES, _IN_QUESTION = 3, 0.05


def repair_cautions(desk: Desk, repair: str) -> list[str]:
    """The cautions of a repair, by its work and the places of its parts."""
    circuit = desk.circuit
    places = {
        str(circuit.map.points[point].place)
        for passive in circuit.parts.values()
        if passive.part.repair == repair
        for point in passive.part.between
    }
    if repair in (CHARGE, NEW_BATTERY):
        places.add("battery")
    return desk.cautions.for_deed(str(circuit.repairs[repair].kind), *sorted(places))


@dataclass(frozen=True)
class Asking:
    """Words every step for one case; where the walk goes is not decided here."""

    case: Case

    @property
    def desk(self) -> Desk:
        """What the case is judged by."""
        return self.case.desk

    @property
    def steps(self) -> Mapping[str, Step]:
        """The flow's steps by name."""
        return self.case.desk.flow.steps

    def caution(self, name: str) -> Next:
        """What is still to be read of a step's cautions and of those of every reading, before anything else."""
        step = self.steps[name]
        begin = self.desk.cautions_to_begin(step.cautions)
        unread = [name for name in begin if name not in self.case.state.cautions_read]
        return Next(kind="caution", step=name, why=step.why or step.do, cautions=unread)

    def again(self, m: Measurement, step: str | None) -> Next:
        """A doubted reading, once more."""
        why = f"Reading {m.number} ({shown_value(m)}) does not fit: {reason(self.case.belief, m)}. Take it again."
        return self.measure(m.what, why, step).model_copy(update={"again": m.number})

    def ask(self, name: str, choices: Sequence[str]) -> Next:
        """A question; one about what is found on opening says what to open."""
        step = self.steps[name]
        why, repair = step.why, None
        if self.case.found is not None and DAMAGE in step.choices:
            repair, evidence = self.case.found
            part = self.desk.circuit.parts.get(evidence.site.part)
            what = f"the {part.part.label}" if part else f"the {evidence.site.part}"
            why = f"Look at {what}. {why}"
        return Next(
            kind="ask",
            step=name,
            why=why,
            choices=list(choices),
            minutes=step.minutes,
            repair=repair,
            cautions=list(step.cautions) or None,
        )

    def measure(self, what: Observable, why: str, step: str | None) -> Next:
        """A reading, with its limit and band and with what to heed while it is taken."""
        desk, circuit = self.desk, self.desk.circuit
        intermittent = self.case.state.complaint is not None and self.case.state.complaint.intermittent
        asked = Next(
            kind="measure",
            acting_up=True if intermittent and acts_up(desk, self.case.state) else None,
            step=step,
            state=what.state,
            minutes=round(minutes_for(circuit, what, self.case.reach), 1),
            why=why,
        )
        if what.clamp:
            return asked.model_copy(update={"clamp": what.clamp, "cautions": desk.cautions.for_deed(what.state)})
        places = sorted({str(circuit.map.points[point].place) for point in (what.red, what.black)})
        limit, _ = desk.limits.judge(circuit, what.state, what.red, what.black, 0.0)
        across = {
            "red": what.red,
            "black": what.black,
            "limit_v": limit,
            "expected_v": expected_band(self.case.belief, what),
            "cautions": desk.cautions.for_deed(what.state, *places),
        }
        return asked.model_copy(update=across)

    def test(self, what: Observable, step: str | None) -> Next:
        """A reading that was searched for."""
        return self.measure(what, self._reason(what), step)

    def _reason(self, what: Observable) -> str:
        """Why a test: which suspects it tells apart."""
        circuit, belief = self.desk.circuit, self.case.belief
        if (awaited := self.case.awaited) and awaited.what == what:
            first, second = awaited.numbers[0], awaited.numbers[-1]
            told = self.case.belief.evidence.intermittent
            alike = "a fault that was there in one of them" if told else "one lead on a bolt"
            return (
                f"So far only the difference of readings {first} and {second} shows it, and {alike} would "
                f"do the same: read it straight across before you {circuit.repairs[awaited.repair].label}."
            )
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
        if number := self._shows_with(what, ranked[0][1].part):
            return f"With reading {number}, it shows what {_label(circuit, ranked[0][1].part)} alone loses."
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

    def _shows_with(self, what: Observable, part: str) -> int | None:
        """The reading whose difference from this one is the drop over a part alone."""
        if part not in self.desk.circuit.parts:
            return None
        ends = set(self.desk.circuit.parts[part].part.between)
        for m in trusted(self.case.belief):
            apart = {m.what.red, m.what.black} ^ {what.red, what.black}
            if m.what.state == what.state and not m.what.clamp and apart == ends:
                return m.number
        return None

    def act(self, act: Act) -> Next:
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
            cautions=repair_cautions(self.desk, act.repair),
        )

    def repair(self, step: str | None) -> Next:
        """The repair that the finding calls for."""
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
            cautions=repair_cautions(self.desk, repair),
        )

    def _called_for(self, repair: str) -> str:
        if repair in self.case.state.repairs:
            return (
                "It was done before, and the readings still call for it. Look for why it did not hold, and replace "
                "what is worn."
            )
        return "The readings call for it."

    def proof(self) -> Next | None:
        """The span to measure again after the repair; None when there is none."""
        case = self.case
        if case.before is None:
            return None
        step = next((n for n, s in self.steps.items() if s.kind is StepKind.PROVE), None)
        what = unproved(case)
        if what is not None:
            again = self.measure(what, "", step)
            repair = self.desk.circuit.repairs[case.state.repairs[-1]].label
            sound = "" if what.clamp else f" A sound one reads {show_band(*again.expected_v or (0, 0))}."
            before = next(iter(earlier_reads(case, what).values()), None)
            told, first = "", None
            if before is None:
                first = f"Not read before the repair: {self._why_new(what)}."
            elif len(before.spans) > 1:
                both = " and ".join(map(str, before.numbers))
                sound += f" Before, it was the difference of readings {both}; now read straight across."
            else:
                told = ", as before"
            own = self.steps[step].cautions if step else []
            why = f"Put the ground lead back on, last. Then measure {self._span(what)}{told}, after: {repair}.{sound}"
            return again.model_copy(
                update={
                    "kind": "prove",
                    "why": f"{why} {first}" if first else why,
                    "first_read": first,
                    "cautions": [
                        name for name in self.desk.cautions.cautions if name in {*(again.cautions or []), *own}
                    ],
                }
            )
        return None

    def _why_new(self, what: Observable) -> str:
        """Why the proof asks for a span that was not read before the repair."""
        span = repaired_span(self.case)
        if span is not None and span[0] == what:
            return "it shows what was repaired by itself"
        if self.desk.limits.floor_row(self.desk.circuit, what.state, what.red, what.black):
            return "it tells whether the battery holds up now"
        return "it tells whether the first fault hid another in this run"

    def _span(self, what: Observable) -> str:
        """A span of the proof with its two points, in the state that it is read in."""
        circuit = self.desk.circuit
        if what.clamp:
            where = f"the amps through {_label(circuit, what.clamp)}"
        else:
            where = f"from {circuit.map.points[what.red].label} to {circuit.map.points[what.black].label}"
        return f"{where} {'with start held' if what.state == 'cranking' else 'with everything off'}"

    @property
    def last(self) -> str | None:
        """The end of a job that repaired nothing."""
        ends = [name for name, step in self.steps.items() if step.kind is StepKind.FINISH]
        return ends[-1] if ends else None

    def finish(self, step: str | None, *, left: bool = False) -> Next:
        """The end, with what it comes to. `left` says that there are tests that may tell more."""
        case = self.case
        if step is None:
            step = self.last
        if proved(case) and self.remaining() < 0.5 and not self.still_fails():
            why = " ".join(filter(None, [f"The repair helped.{won_back(case)}", self.uncounted(), self._unexplained()]))
            return Next(kind="finish", step=step, why=why)
        sound = case.belief.repair_probability[NO_REPAIR]
        complaint = case.state.complaint
        if complaint is not None and complaint.intermittent and top_repair(case.belief)[1] < ENOUGH:
            return Next(kind="finish", step=step, why=self._hiding())
        if sound >= 0.8 or top_repair(case.belief)[0] == NO_REPAIR:
            return Next(kind="finish", step=step, why=self._nothing_shown())
        repair, odds = top_repair(case.belief)
        label = self.desk.circuit.repairs[repair].label
        if repair in case.state.repairs:
            part = "the new part"
            if self.desk.circuit.repairs[repair].kind is RepairKind.CLEAN:
                part = "replace the lug, clamp or stud that it was done to"
            why = (
                f"This was done and the readings still point there: {label} ({odds:.0%}). Check the work and {part} "
                "before anything else is replaced, and go by the maker's information from here."
            )
            return Next(kind="finish", step=step, why=why)
        if clean_first := self._clean_first():
            return Next(kind="finish", step=step, why=clean_first)
        do_not = "Do not"
        if repair == NEW_STARTER and not self._starter_tested():
            do_not = "Have it tested off the vehicle first; do not"
        elif repair == NEW_BATTERY:
            do_not = "Charge it and have it load-tested first; do not"
        elif repair == FREE_ENGINE:
            do_not = "Look there first; do not"
        shown = "The tests within reach are exhausted and none of them shows one repair alone."
        if left:
            shown = "Nothing that was measured shows one repair alone, and there are tests left that may."
        return Next(
            kind="finish",
            step=step,
            why=(f"{shown} The likeliest is: {label} ({odds:.0%}). {do_not} replace on odds alone."),
        )

    def _clean_first(self) -> str:
        """What to begin with where readings leave a few repairs and the cheapest is cleaning; empty elsewhere."""
        odds, repairs = self.case.belief.repair_probability, self.desk.circuit.repairs
        likely = sorted((name for name in odds if name != NO_REPAIR), key=lambda name: -odds[name])
        few = [name for name in likely[:_FEW_PLACES] if odds[name] >= _IN_QUESTION]
        if len(few) < 2 or sum(odds[name] for name in few) < ENOUGH or {*few} & {*self.case.state.repairs}:
            return ""
        priced = self.desk.priors.minutes_per_cost
        first = min(few, key=lambda name: repairs[name].minutes + priced * repairs[name].cost)
        if repairs[first].kind is not RepairKind.CLEAN:
            return ""
        named = " or ".join(f"{repairs[name].label} ({odds[name]:.0%})" for name in few)
        begin = f"Begin with the cheapest, {repairs[first].label}, and measure again."
        return f"The readings leave one of these: {named}. {begin}"

    def _starter_tested(self) -> bool:
        answers = self.case.state.answers
        asked = [name for name, step in self.steps.items() if step.when == "starter"]
        return any(answers.get(name, NOT_SURE) != NOT_SURE for name in asked)

    def _nothing_shown(self) -> str:
        """What is left to say where no repair is called for."""
        if minor := self._minor():
            return minor
        past = [reading for reading in judged_readings(self.case) if reading.past_limit]
        if not past and (unexplained := self._unexplained()):
            return f"Every span that was measured reads as a sound circuit would. {unexplained}"
        if not past:
            return "Nothing wrong was shown: every span that was measured reads as a sound circuit would."
        numbers = " and ".join(str(reading.id) for reading in past)
        which, are, it = ("Reading", "is", "it") if len(past) == 1 else ("Readings", "are", "them")
        return (
            f"No single repair was shown. {which} {numbers} {are} past what practice allows all the same: take {it} "
            "again, and go by the maker's figures for this vehicle."
        )

    def _minor(self) -> str:
        """What is sure to be wrong and does not explain how it cranks; empty where nothing is."""
        belief, circuit = self.case.belief, self.desk.circuit
        ranked = sorted(enumerate(belief.model.sites), key=lambda one: -belief.site_probability[one[0]])
        few = [(n, site) for n, site in ranked[:_FEW_PLACES] if belief.site_probability[n] >= _IN_QUESTION]
        if not few or sum(belief.site_probability[n] for n, _ in few) < ENOUGH:
            return ""
        if not all(site.part in circuit.parts and self._past_limit(n, site.part) for n, site in few):
            return ""
        where = " or ".join(_label(circuit, site.part) for _, site in few)
        work = ", or ".join(dict.fromkeys(circuit.repairs[belief.repair_of(site)].label for _, site in few))
        return (
            f"Bad all the same: {where}, open beside another way or losing too much. It is not why it cranked badly. "
            f"Put it right: {work}. {self._unexplained()}"
        ).strip()

    def _past_limit(self, site: int, part: str) -> bool:
        """Whether a part would lose more than practice allows if it carried the starter's whole current."""
        excess, circuit = self.case.belief.excess_ohm(site), self.desk.circuit
        if excess is None:
            return True
        red, black = circuit.parts[part].part.between
        volts = excess[0] * circuit.demand_a[1]
        return self.desk.limits.judge(circuit, "cranking", red, black, volts)[1] == "over"

    def _unexplained(self) -> str:
        """What to do about a crank that is heard to be wrong and that no reading explains; empty where none is."""
        if self.case.belief.evidence.turns_well is not False:
            return ""
        if failed_by_hand(self.case.belief):
            return (
                "It was hard to turn by hand: what drags in the engine, or in what it drives, comes before the starter "
                "and before anything is bought."
            )
        return (
            "It still does not crank as it should, and no reading shows why: hold the current against the maker's "
            "figure, and have starter and engine tested, before anything is bought."
        )

    def _hiding(self) -> str:
        """What is left to say of a fault that comes and goes and did not show itself."""
        belief, circuit = self.case.belief, self.desk.circuit
        ranked = sorted(zip(belief.site_probability, belief.model.sites, strict=True), key=lambda pair: -pair[0])
        likely = _listed(_label(circuit, site.part) for odds, site in ranked if odds >= 0.05)
        spare, whole = belief.spare_v
        where = f" It hides most likely in {likely}." if likely else ""
        failed = [r for r in judged_readings(self.case) if r.acting_up and r.past_limit and r.red and r.black]
        if failed:
            points = circuit.map.points
            last = failed[-1]
            where = (
                f" While it failed, reading {last.id} was past its limit, from {points[last.red or ''].label} to "
                f"{points[last.black or ''].label}.{where}"
            )
        return (
            f"Nothing wrong was shown while it cranks: {show_volts(spare)} are left before it stalls, where a sound "
            f"circuit has {show_volts(whole)}.{where} Measure while it fails, and mark those readings."
        )

    def uncounted(self) -> str:
        """What good starts are still wanted of a fault that comes and goes; empty where none are.

        One that failed after the repair speaks against any.
        """
        view, complaint = follow_up(self.case.state), self.case.state.complaint
        counts = complaint is not None and complaint.intermittent
        return view.short_of if counts or view.status == "failed-again" else ""

    def still_fails(self) -> bool:
        """Whether the last repair left what is heard as it was, by the answer at a step that says so."""
        state = self.case.state
        return any(name in state.answered_now and state.answers[name] == STILL_FAILS for name in state.answers)

    def remaining(self) -> float:
        """Odds that something still wants a repair; of starter and engine a good crank says more than any odds."""
        odds, well = self.case.belief.repair_probability, self.case.belief.evidence.turns_well
        settled = (NO_REPAIR, NEW_STARTER, FREE_ENGINE) if well else (NO_REPAIR,)
        return 1.0 - sum(odds.get(name, 0.0) for name in settled)


def in_all(other: Next, minutes: float) -> Next:
    """An alternative with its minutes to a proven repair."""
    return other.model_copy(update={"why": f"{other.why} In all about {minutes:.0f} minutes."})


def _label(circuit: Circuit, name: str) -> str:
    return f"the {circuit.parts[name].part.label}" if name in circuit.parts else f"the {name}"


def _listed(labels: Iterable[str]) -> str:
    """Up to two things by name, the rest by number."""
    names = list(dict.fromkeys(labels))
    if len(names) <= 2:
        return " and ".join(names)
    return f"{names[0]}, {names[1]} and {len(names) - 2} more"
