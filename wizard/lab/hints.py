"""What the wizard would do next at the bench: a reading, a repair, or making it fail; never what the bench can't do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from wizard.circuit.heard import Heard
from wizard.lab.deeds import Line, Touched, Warmed, as_job
from wizard.lab.exercise import Exercise
from wizard.lab.vehicle import by_ear
from wizard.walk.assessment import Next
from wizard.walk.desk import Desk
from wizard.walk.events import Answered
from wizard.walk.flow import EACH_PART, IT_FAILED, NOT_SURE, Step
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess


def next_at_bench(
    exercise: Exercise, desk: Desk, lines: Sequence[Line], failing: frozenset[int], heard: Heard | None, plan: Plan
) -> Next:
    """The next thing to do after these deeds; `failing` are the cranks in which it failed.

    The bench has no key to answer a question or to look inside. What was `heard` last answers those of sound, and the
    rest count as not sure. One comes back only where the bench can do what it asks: make it fail by hand or by heat.
    """
    log = as_job(exercise, lines, failing)
    answered: set[str] = set()
    while True:
        found = assess(desk, fold(log), plan, cautions_read=True).next
        if found.kind != "ask" or found.step is None or found.step in answered:
            return found
        step = desk.flow.steps[found.step]
        if _to_provoke(step, found.choices or (), desk, lines):
            return found
        answered.add(found.step)
        choice = by_ear(step, heard) if heard is not None else None
        log.append(Answered(step=found.step, choice=choice or NOT_SURE))


def hint(exercise: Exercise, desk: Desk, lines: Sequence[Line], failing: frozenset[int], heard: Heard | None) -> Next:
    """What the bench tells a student to do next. A board is not heard, and nobody knows in which cranks it failed."""
    if exercise.board:
        failing, heard = frozenset(), None
    return next_at_bench(exercise, desk, lines, failing, heard, "walk")


def _to_provoke(step: Step, choices: Iterable[str], desk: Desk, lines: Sequence[Line]) -> bool:
    """Whether a step asks to make it fail in a way that the bench has, and that was not tried to the end."""
    if EACH_PART in step.choices:
        moved = {line.deed.point for line in lines if isinstance(line.deed, Touched)}
        parts = desk.circuit.parts
        return any(moved.isdisjoint(parts[name].part.between) for name in choices if name in parts)
    return IT_FAILED in step.choices and not any(isinstance(line.deed, Warmed) for line in lines)
