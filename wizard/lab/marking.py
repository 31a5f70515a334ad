"""Marking: 100 points by the exercise's scheme, each one explained, from the hand-in and the exercise alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from wizard.circuit.circuit import Circuit
from wizard.circuit.heard import Heard
from wizard.circuit.map import Side
from wizard.circuit.network import Observable
from wizard.diagnosis.faults import NO_REPAIR
from wizard.errors import DropwalkError
from wizard.lab.bench import COSTS, Bench, Slip
from wizard.lab.deeds import Answered, Concluded, Helped, Line, Probed, Repaired, SideNamed, Touched, Warmed, misfits
from wizard.lab.exercise import Exercise, Where, named, right_repairs, where
from wizard.lab.handin import HandIn, sheet_of
from wizard.lab.hints import hint, next_at_bench
from wizard.lab.solving import Solved, job_minutes, probe, solve
from wizard.quantities import capitalised
from wizard.walk.assessment import Next
from wizard.walk.desk import Desk
from wizard.walk.walker import Plan

# So many readings, and so much of the best plan's minutes, over the best plan still earn every point; at so many
# times the best plan there are none left.
_SPARE_READINGS, _SPARE_MINUTES, _NONE_LEFT = 2, 1.25, 4.0
# Share of the points that each mistake takes.
_PER_SLIP = 0.25
_CAUTION_SLIPS: frozenset[Slip] = frozenset(["cautions-unread", "cranked-too-long", "no-rest", "starter-hot"])
_LEAST_WORDS = 4
# Seconds between deeds when the best next test is worked out: the vehicle has rested, and a hot engine stays hot.
_APART_S = 120.0

# Deeds that tell something or change the vehicle, and what makes two of them the same.
_Telling = Probed | Repaired | Touched | Warmed | Answered
_Key = tuple[str | tuple[str, ...], ...]


@dataclass(frozen=True)
class Mark:
    """What one thing of the scheme earned, and why."""

    what: str
    points: float
    of: int
    why: str


@dataclass(frozen=True)
class Judged:
    """One reading of the attempt beside what would have been the best next test at that moment.

    It is met (`same`) by that test, or by what the bench itself had told the student to do next (`hinted`).
    """

    number: int
    done: str
    best: str
    same: bool
    hinted: bool = False


@dataclass(frozen=True)
class Marked:
    """A marked hand-in: `total` of 100, each mark, each reading beside the best one, and what mistakes cost."""

    student: str
    exercise: str
    total: float
    marks: tuple[Mark, ...]
    steps: tuple[Judged, ...]
    costs: tuple[str, ...]


@dataclass
class Marker:
    """Marks hand-ins of one exercise. What the planner says is worked out once for all of them and kept."""

    exercise: Exercise
    desk: Desk
    best: Solved = field(init=False)
    _simulated: Exercise = field(init=False, repr=False)
    _after: dict[tuple[Plan, tuple[frozenset[_Key], ...]], Next] = field(default_factory=dict, init=False, repr=False)
    _shown: dict[tuple[tuple[_Key, ...], _Key], tuple[Probed, Heard | None]] = field(
        default_factory=dict, init=False, repr=False
    )

    def __post_init__(self) -> None:
        # A board is held against its simulated double: the teacher put in what the exercise says.
        self._simulated = self.exercise.model_copy(update={"board": False})
        self.best = solve(self._simulated, self.desk, "fastest")

    def mark(self, handin: HandIn) -> Marked:
        """Mark one. Raises DropwalkError when it is of another exercise or its readings are not this bench's."""
        self._refuse_foreign(handin)
        lines = handin.plain_lines()
        bench, heard = self._replayed(handin, lines)
        attempt = Attempt(self.exercise, self.desk.circuit, lines)
        scheme = self.exercise.scheme
        slips: list[Slip] = [slip for _, slip in bench.slips]
        judges: tuple[tuple[str, int, Callable[[], tuple[float, str]]], ...] = (
            ("right part", scheme.part, attempt.part),
            ("right repair", scheme.repair, attempt.repair),
            ("side found first", scheme.side, attempt.side),
            ("readings", scheme.readings, lambda: self._readings(attempt)),
            ("minutes", scheme.minutes, lambda: self._minutes(attempt)),
            ("cautions kept", scheme.cautions, lambda: _slipped([s for s in slips if s in _CAUTION_SLIPS], "caution")),
            ("meter used properly", scheme.meter, lambda: self._meter(slips)),
            ("reasons given", scheme.reasons, attempt.reasons),
        )
        marks: list[Mark] = []
        for what, of, judge in judges:
            share, why = judge()
            marks.append(Mark(what, round(of * share, 1), of, why))
        costs = tuple(cost for slip, cost in COSTS.items() if slip in slips)
        total = round(sum(mark.points for mark in marks), 1)
        steps = self._steps(lines, frozenset(bench.failing), heard)
        return Marked(handin.student, self.exercise.exercise, total, tuple(marks), steps, costs)

    def _refuse_foreign(self, handin: HandIn) -> None:
        if handin.exercise != self.exercise.exercise:
            raise DropwalkError(f"this is a hand-in of {handin.exercise!r}, not of {self.exercise.exercise!r}")
        if handin.sheet != sheet_of(self.exercise):
            raise DropwalkError("this hand-in was made with another edition of the exercise")
        for number, line in enumerate(handin.lines):
            for fault in misfits(line.deed, self.exercise, self.desk):
                raise DropwalkError(f"line {number + 1}: {fault}")

    def _replayed(self, handin: HandIn, lines: list[Line]) -> tuple[Bench, list[Heard | None]]:
        """Do it all again on a bench of our own, and what had last been heard before each deed.

        Raises DropwalkError where that shows something else.
        """
        bench = Bench(self.exercise, self.desk, handin.seed)
        heard: list[Heard | None] = []
        for number, line in enumerate(lines):
            heard.append(bench.heard)
            again = bench.do(line.deed, line.at_s)
            if not self.exercise.board and again != line.deed:
                raise DropwalkError(f"line {number + 1}: this bench shows something else; the hand-in was changed")
        return bench, heard

    def _readings(self, attempt: Attempt) -> tuple[float, str]:
        taken, best = len(attempt.readings), len(self.best.readings)
        share = _over(taken, best + _SPARE_READINGS, _NONE_LEFT * max(best, 1))
        if not taken:
            return 0.0, f"No reading was taken; the best plan takes {best}."
        return _as_far_as_right(attempt, share, f"Readings up to the answer: {taken}; the best plan takes {best}.")

    def _minutes(self, attempt: Attempt) -> tuple[float, str]:
        taken = job_minutes(self.desk, attempt.readings)
        best = max(self.best.minutes, 1.0)
        if not attempt.readings:
            return 0.0, f"No reading was taken; the best plan takes {best:.0f} minutes."
        share = _over(taken, _SPARE_MINUTES * best + 2.0, _NONE_LEFT * best + 2.0)
        why = f"The readings take {taken:.0f} minutes in the bay; the best plan's take {best:.0f}."
        used = attempt.wall_minutes
        if used > self.exercise.minutes:
            share *= 0.5
            why += (
                f" The attempt took {used:.0f} minutes and {self.exercise.minutes:.0f} were allowed: half the points."
            )
        return _as_far_as_right(attempt, share, why)

    def _meter(self, slips: list[Slip]) -> tuple[float, str]:
        return _slipped([slip for slip in slips if slip not in _CAUTION_SLIPS], "mistake")

    # --- the best next test at each step -------------------------------------------------------------------------

    def _steps(self, lines: list[Line], failing: frozenset[int], heard: list[Heard | None]) -> tuple[Judged, ...]:
        """Each reading until as many repairs were done as there are faults: what follows proves, and finds nothing."""
        judged: list[Judged] = []
        done: list[_Telling] = []
        left = max(1, len(self.exercise.hidden))
        # Once enough is known, more readings of a vehicle in that state do not make it less.
        enough: Next | None = None
        # What the bench last told to read, where, and what had been done by then; until it was followed.
        told: tuple[Helped, int, list[_Telling]] | None = None
        for number, line in enumerate(lines):
            deed = line.deed
            if isinstance(deed, Probed):
                best = enough or self._best_after(done, "fastest")
                enough = best if best.kind == "repair" else None
                same = _met(best, deed)
                hinted = not same and told is not None and self._hinted(deed, *told, lines, failing, heard)
                if same or hinted:
                    told = None
                judged.append(Judged(len(judged) + 1, self._told(deed), self._asked(best), same or hinted, hinted))
                if deed.counts:
                    done.append(deed)
            elif isinstance(deed, Helped):
                told = deed, number, list(done)
            elif isinstance(deed, Repaired):
                left -= 1
                if not left:
                    break
                done.append(deed)
                enough = None
            elif isinstance(deed, (Touched, Warmed)):
                done.append(deed)
                enough = None
            elif isinstance(deed, Answered):
                done.append(deed)
        return tuple(judged)

    def _hinted(
        self,
        deed: Probed,
        told: Helped,
        number: int,
        done: list[_Telling],
        lines: list[Line],
        failing: frozenset[int],
        heard: list[Heard | None],
    ) -> bool:
        """Whether a reading is what the bench told in deed `number`, and the bench did tell that.

        It told the walk's next one, which is kept for the class as the best is; where a meter's error led the walk
        another way, it is worked out from what this student's meter showed.
        """
        if not deed.counts or _across(told.what) != _across(deed.what):
            return False
        if _met(self._best_after(done, "walk"), deed):
            return True
        return _met(hint(self.exercise, self.desk, lines[:number], failing, heard[number]), deed)

    def _best_after(self, done: list[_Telling], plan: Plan) -> Next:
        """What the wizard would do at the bench after these deeds, had the readings been a perfect meter's.

        So it is one answer for the whole class, whatever each one's meter showed and in whatever order readings of
        one state of the vehicle were taken, and it is kept for all of them.
        """
        epochs: list[dict[_Key, _Telling]] = [{}]
        for deed in done:
            if isinstance(deed, (Probed, Answered)):
                epochs[-1].setdefault(_key(deed), deed)
            else:
                epochs.append({_key(deed): deed})
        key = plan, tuple(frozenset(epoch) for epoch in epochs)
        if key not in self._after:
            # In one order, so that the answer hangs on what was done and not on who was marked first.
            job, failing, heard = self._perfect([deed for epoch in epochs for deed in _in_order(epoch)])
            self._after[key] = next_at_bench(self._simulated, self.desk, job, failing, heard, plan)
        return self._after[key]

    def _perfect(self, deeds: list[_Telling]) -> tuple[list[Line], frozenset[int], Heard | None]:
        """These deeds with what a perfect meter shows on the rested vehicle, in which cranks it failed, and its sound.

        The sound is the last that was heard since anything was changed.
        """
        heard: Heard | None = None
        lines: list[Line] = []
        failing: set[int] = set()
        markers: tuple[_Telling, ...] = ()
        for crank, deed in enumerate(deeds, start=1):
            if isinstance(deed, Probed):
                deed, sound = self._read_perfectly(markers, deed)
                deed = deed.model_copy(update={"crank": crank})
                heard = sound or heard
                failing |= {crank} if sound not in (None, Heard.CRANKS_NORMALLY) else set()
            elif not isinstance(deed, Answered):
                markers, heard = (*markers, deed), None
            lines.append(Line(at_s=0.0, deed=deed))
        return lines, frozenset(failing), heard

    def _read_perfectly(self, markers: tuple[_Telling, ...], deed: Probed) -> tuple[Probed, Heard | None]:
        """One reading after what changed the vehicle before it, and what was heard with start held; kept."""
        key = (tuple(map(_key, markers)), _key(deed))
        if key not in self._shown:
            bench = Bench(self._simulated, self.desk, 0, noise=False)
            for number, marker in enumerate(markers):
                bench.do(marker, _APART_S * number)
            done = bench.do(deed, _APART_S * len(markers))
            assert isinstance(done, Probed)
            self._shown[key] = done, bench.heard
        return self._shown[key]

    def _told(self, deed: Probed) -> str:
        return f"{self._span(deed.what) if deed.counts else _misused(deed)}: {deed.shown or 'nothing'}"

    def _span(self, what: Observable) -> str:
        points, parts = self.desk.circuit.map.points, self.desk.circuit.parts
        state = "" if what.state == "cranking" else ", start not held"
        if what.clamp:
            return f"clamp around {parts[what.clamp].part.label}{state}"
        return f"{points[what.red].label} to {points[what.black].label}{state}"

    def _asked(self, best: Next) -> str:
        match best.kind:
            case "measure" | "prove":
                return self._span(probe(best).what)
            case "repair":
                return f"enough is known: {self.desk.circuit.repairs[best.repair or ''].label}"
            case "ask":
                return self.desk.flow.steps[best.step or ""].title
            case _:
                return "no further reading tells more"


class Attempt:
    """What a student did, up to the answer."""

    def __init__(self, exercise: Exercise, circuit: Circuit, lines: list[Line]) -> None:
        self.exercise, self.circuit, self.lines = exercise, circuit, lines
        deeds = [line.deed for line in lines]
        self.concluded = next((d for d in reversed(deeds) if isinstance(d, Concluded)), None)
        self.repairs = tuple(d.repair for d in deeds if isinstance(d, Repaired))
        self.all_readings = [d for d in deeds if isinstance(d, Probed)]
        ends = [n for n, d in enumerate(deeds) if isinstance(d, Repaired)]
        end = ends[-1] if ends else len(deeds)
        self.readings = tuple(d for d in deeds[:end] if isinstance(d, Probed))
        self.wall_minutes = lines[-1].at_s / 60.0 if lines else 0.0
        self.truth = [named(fault) for fault in exercise.hidden]

    def part(self) -> tuple[float, str]:
        """The right part, and no other."""
        if self.concluded is None:
            return 0.0, "No answer was given."
        said = list(dict.fromkeys(self.concluded.parts))
        right = [name for name in said if name in self.truth]
        wrong = [name for name in said if name not in self.truth]
        if not self.truth:
            return (1.0, "Nothing is wrong, and you said so.") if not said else (0.0, "Nothing is wrong.")
        share = max(0.0, (len(right) - 0.5 * len(wrong)) / len(self.truth))
        truth = self._labels(self.truth)
        if share == 1.0:
            return share, f"At fault: {truth}."
        return share, f"You named {self._labels(said) or 'nothing'}; at fault: {truth}."

    def repair(self) -> tuple[float, str]:
        """Each fault repaired (two thirds) and proved by a reading afterwards (a third); needless work takes away."""
        rights = right_repairs(self.exercise, self.circuit)
        done = [name for name in self.repairs if name != NO_REPAIR]
        if not rights:
            return (0.0, "Nothing needed a repair.") if done else (1.0, "Nothing needed a repair, and none was done.")
        right = sum(any(name in repairs for name in done) for repairs in rights)
        needless = [name for name in done if not any(name in repairs for repairs in rights)]
        proved = right == len(rights) and self._proved()
        share = (2.0 * right / len(rights) + (1.0 if proved else 0.0)) / 3.0 - 0.25 * len(needless)
        why = f"{right} of {len(rights)} faults repaired"
        why += ", and proved by a reading under load afterwards." if proved else "; not proved by a reading afterwards."
        if needless:
            why += f" Needless: {', '.join(self.circuit.repairs[name].label for name in needless)}."
        return max(0.0, share), why

    def side(self) -> tuple[float, str]:
        """The right side named, and shown by a reading across all of it before anything in it was split."""
        places: set[Where] = {where(fault, self.circuit) for fault in self.exercise.hidden} or {"nothing"}
        at = next((n for n, line in enumerate(self.lines) if isinstance(line.deed, SideNamed)), None)
        if at is None:
            return 0.0, f"No side was named; it was {_sides(places)}."
        deed = self.lines[at].deed
        assert isinstance(deed, SideNamed)
        if deed.side not in places:
            return 0.0, f"You named {_sides({deed.side})}; it was {_sides(places)}."
        if deed.side not in ("positive", "ground", "control"):
            return 1.0, f"Right: {_sides({deed.side})}."
        ends = set(self.circuit.runs[deed.side])
        inside = self._inside(deed.side)
        for line in self.lines[:at]:
            reading = line.deed
            if isinstance(reading, Probed) and reading.counts and reading.held_s > 0 and not reading.clamp:
                leads = {reading.red, reading.black}
                if leads == ends:
                    return 1.0, f"Right: {_sides({deed.side})}, and read across all of it first."
                if leads <= inside:
                    return 0.5, f"Right: {_sides({deed.side})}, but it was split before all of it was read."
        return 0.5, f"Right: {_sides({deed.side})}, but no reading across all of it had shown that yet."

    def reasons(self) -> tuple[float, str]:
        """Readings named that show the fault (half), and reasons in words (half; a teacher may judge them better)."""
        if self.concluded is None:
            return 0.0, "No answer was given."
        named_readings = [self.all_readings[n - 1] for n in self.concluded.evidence if 0 < n <= len(self.all_readings)]
        shown = self._shows([r for r in named_readings if r.counts])
        words = len(self.concluded.reasons.split()) >= _LEAST_WORDS
        why = "The readings you named show it" if shown else "The readings you named do not show it by themselves"
        why += ", and you said why." if words else "; you did not say why in words."
        return 0.5 * shown + 0.5 * words, why

    def _shows(self, readings: list[Probed]) -> bool:
        """Whether some of these readings lie across what is at fault; for a healthy one, across both sides."""
        if not self.truth:
            sides = [set(self.circuit.runs[run]) for run in ("positive", "ground")]
            return all(any({r.red, r.black} == ends for r in readings) for ends in sides)
        return bool(readings) and all(any(self._across(r, name) for r in readings) for name in self.truth)

    def _across(self, reading: Probed, name: str) -> bool:
        role = self.circuit.roles
        if name == "battery":
            return {reading.red, reading.black} == {role["battery.positive"], role["battery.negative"]}
        if name in ("starter", "engine", "coil"):
            motor = {role["starter.motor"], role["starter.feed"], role["starter.trigger"]}
            return bool(reading.clamp) or bool({reading.red, reading.black} & motor)
        if reading.clamp:
            return False
        return reading.held_s > 0 and name in (self.circuit.path(reading.red or "", reading.black or "") or ())

    def _proved(self) -> bool:
        last = max(n for n, line in enumerate(self.lines) if isinstance(line.deed, Repaired))
        after = [line.deed for line in self.lines[last + 1 :] if isinstance(line.deed, Probed)]
        return any(r.counts and any(self._across(r, name) for name in self.truth) for r in after)

    def _inside(self, side: Where) -> set[str]:
        parts = [p.part for p in self.circuit.parts.values() if p.part.side is Side(side)]
        return {point for part in parts for point in part.between}

    def _labels(self, names: Iterable[str]) -> str:
        parts = self.circuit.parts
        return " and ".join(parts[n].part.label if n in parts else f"the {n}" for n in names)


def _met(best: Next, deed: Probed) -> bool:
    return deed.counts and best.kind in ("measure", "prove") and _key(deed) == _key(probe(best))


def _over(taken: float, allowed: float, none_left: float) -> float:
    """Every point up to what is allowed, none from `none_left` on, a straight line between."""
    if taken <= allowed:
        return 1.0
    return max(0.0, 1.0 - (taken - allowed) / max(none_left - allowed, 1.0))


def _slipped(slips: list[Slip], word: str) -> tuple[float, str]:
    if not slips:
        return 1.0, f"No {word} to tell of." if word == "mistake" else "Read first, and kept."
    counts = {slip: slips.count(slip) for slip in slips}
    told = ", ".join(f"{slip.replace('-', ' ')} ({n})" for slip, n in counts.items())
    return max(0.0, 1.0 - _PER_SLIP * len(slips)), f"{capitalised(told)}."


def _sides(places: Iterable[Where]) -> str:
    words = {"positive": "the positive side", "ground": "the ground side", "control": "the control side"}
    return " and ".join(words.get(p, "nothing" if p == "nothing" else f"the {p}") for p in sorted(places))


def _as_far_as_right(attempt: Attempt, share: float, why: str) -> tuple[float, str]:
    """Being quick earns no more than the answer that it led to."""
    right, _ = attempt.part()
    return share * right, why if right == 1.0 else f"{why} It counts as far as the answer is right."


def _key(deed: _Telling) -> _Key:
    match deed:
        case Probed():
            return _across(deed.what)
        case Repaired():
            return (deed.kind, deed.repair)
        case Touched():
            return (deed.kind, deed.point)
        case Answered():
            return (deed.kind, deed.step, deed.choice)
        case _:
            return (deed.kind,)


def _across(what: Observable) -> _Key:
    """What a reading reads, whichever lead is where."""
    return (what.state, tuple(sorted((what.red, what.black))), what.clamp)


def _in_order(epoch: dict[_Key, _Telling]) -> list[_Telling]:
    """What changed the vehicle, then what was learnt of it, by name."""
    return [epoch[key] for key in sorted(epoch, key=lambda key: (isinstance(epoch[key], (Probed, Answered)), key))]


def _misused(deed: Probed) -> str:
    return "ohms" if deed.function == "ohms" else "a lead on nothing, or out of range"
