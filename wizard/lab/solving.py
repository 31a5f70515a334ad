"""An exercise solved by the wizard itself: the best plan that a student is held against, and proof that it can be."""

from __future__ import annotations

from dataclasses import dataclass

from wizard.circuit.heard import HEARD, Heard
from wizard.circuit.network import Observable
from wizard.diagnosis.faults import NO_REPAIR
from wizard.diagnosis.planner import Reach, minutes_for
from wizard.errors import DropwalkError
from wizard.lab.bench import Bench
from wizard.lab.deeds import Line, Listened, Probed, Rested, Touched, Warmed, as_job
from wizard.lab.exercise import Exercise, right_repairs
from wizard.walk.assessment import Assessment, Next
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, CautionsRead, Repaired
from wizard.walk.flow import EACH_PART, IT_FAILED
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess

# Seconds that start is held for a reading and to listen, and minutes of rest between cranks.
HOLD_S, _LISTEN_S, _REST_MINUTES = 5.0, 2.0, 2.0
# More deeds than this and the wizard goes round in circles.
_MOST_DEEDS = 80


@dataclass(frozen=True)
class Solved:
    """How it was solved: everything done, the repairs in order, readings taken and minutes spent up to the last."""

    lines: tuple[Line, ...]
    repairs: tuple[str, ...]
    readings: tuple[Probed, ...]
    minutes: float
    last: Assessment


def solve(exercise: Exercise, desk: Desk, plan: Plan, *, seed: int = 0, noise: bool = False) -> Solved:
    """Do on the bench whatever the wizard says, to the end. Raises DropwalkError when it finds no end.

    What is counted ends with the last repair: the readings after it prove it and find nothing more.
    """
    bench = Bench(exercise, desk, seed, noise=noise)
    lines: list[Line] = []
    clock_s = 0.0

    def do(deed: Probed | Listened | Rested | Touched | Warmed | Answered | CautionsRead | Repaired) -> None:
        nonlocal clock_s
        clock_s += 10.0
        lines.append(Line(at_s=clock_s, deed=bench.do(deed, clock_s)))

    do(CautionsRead(cautions=list(desk.flow.steps[desk.flow.start].cautions)))
    while len(lines) < _MOST_DEEDS:
        found = assess(desk, fold(as_job(exercise, lines, frozenset(bench.failing))), plan, cautions_read=True)
        asked = found.next
        match asked.kind:
            case "finish":
                if still_wrong(bench, lines):
                    do(Listened(held_s=_LISTEN_S))
                    do(Answered(step=sound_step(desk), choice=str(bench.heard)))
                    # A repair helped and was not all: both sides are read anew before anything else is thought of.
                    for run in ("positive", "ground"):
                        red, black = desk.circuit.runs[run]
                        do(Rested(minutes=_REST_MINUTES))
                        do(Probed(red=red, black=black, held_s=HOLD_S))
                    continue
                return _counted(desk, lines, found)
            case "repair":
                assert asked.repair is not None
                do(Repaired(repair=asked.repair))
            case "ask":
                assert asked.step is not None
                choice = bench.answer(asked.step)
                if choice in desk.circuit.parts and EACH_PART in desk.flow.steps[asked.step].choices:
                    do(Touched(point=desk.circuit.parts[choice].part.between[0]))
                if choice == IT_FAILED:
                    do(Warmed())
                do(Answered(step=asked.step, choice=choice))
            case _:
                if asked.state == "cranking":
                    do(Rested(minutes=_REST_MINUTES))
                do(probe(asked))
    raise DropwalkError(f"the exercise {exercise.exercise!r} is not solved after {_MOST_DEEDS} deeds")


def still_wrong(bench: Bench, lines: list[Line]) -> bool:
    """Whether it was repaired and still does not crank as it should, which nobody has listened for since."""
    repaired = [n for n, line in enumerate(lines) if isinstance(line.deed, Repaired)]
    if not repaired or any(isinstance(line.deed, Listened) for line in lines[repaired[-1] :]):
        return False
    return bench.answer(sound_step(bench.desk)) != Heard.CRANKS_NORMALLY


def sound_step(desk: Desk) -> str:
    """The step that asks what is heard now, as against what the complaint says."""
    return next(
        name
        for name, step in desk.flow.steps.items()
        if step.field is None and step.evidence and set(step.choices) > set(HEARD)
    )


def probe(asked: Next) -> Probed:
    """The reading that the wizard asks for, as it is done at the bench."""
    held_s = HOLD_S if asked.state == "cranking" else 0.0
    if asked.clamp:
        return Probed(function="clamp", clamp=asked.clamp, held_s=held_s)
    return Probed(red=asked.red, black=asked.black, held_s=held_s)


def is_right(exercise: Exercise, desk: Desk, repairs: tuple[str, ...]) -> bool:
    """Whether these repairs put right every hidden fault, and are no more than were needed."""
    rights = right_repairs(exercise, desk.circuit)
    every = all(set(repairs) & right for right in rights)
    return every and all(any(done in right for right in rights) for done in repairs if done != NO_REPAIR)


def job_minutes(desk: Desk, readings: tuple[Probed, ...]) -> float:
    """Minutes that these readings take in the bay, one after the other."""
    total, leads = 0.0, frozenset[str]()
    for reading in readings:
        what = reading.what
        # Ohms and loose leads take their time too: as long as volts at the same points.
        total += _minutes(desk, what, leads)
        if not what.clamp:
            leads = frozenset({what.red, what.black} - {""})
    return total


def _minutes(desk: Desk, what: Observable, leads: frozenset[str]) -> float:
    if what.clamp or (what.red and what.black):
        return minutes_for(desk.circuit, what, Reach(leads))
    return 1.0


def _counted(desk: Desk, lines: list[Line], last: Assessment) -> Solved:
    repairs = [n for n, line in enumerate(lines) if isinstance(line.deed, Repaired)]
    end = repairs[-1] if repairs else len(lines)
    readings = tuple(line.deed for line in lines[:end] if isinstance(line.deed, Probed))
    done = tuple(line.deed.repair for line in lines if isinstance(line.deed, Repaired))
    return Solved(tuple(lines), done, readings, job_minutes(desk, readings), last)
