"""Exercise files as they are given out: open ones, and sealed ones by their bench or the teacher's passphrase."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from wizard.errors import BadFile
from wizard.files import shelf
from wizard.files.plainwords import checked
from wizard.files.yamltext import read_document
from wizard.lab.exercise import Exercise
from wizard.walk.desk import Desk


@dataclass(frozen=True)
class Given:
    """An exercise with its desk; `sealed` says that its file hides the answer."""

    exercise: Exercise
    desk: Desk
    sealed: bool


def read_exercise(path: Path, passphrase: Callable[[], str], *, to_play: bool) -> Given:
    """Read an exercise. A sealed one is opened: to play by the bench in it, else by the passphrase.

    Raises BadFile or DropwalkError: another kind of file, damaged, or nothing that opens it.
    """
    document = read_document(path)
    kind = shelf.kind_of(document)
    if kind is shelf.Kind.EXERCISE:
        return Given(*shelf.fitted(document, Exercise, path.parent), sealed=False)
    if kind is not shelf.Kind.SEALED:
        raise BadFile([document.problem((), f"this is a {kind} file; an exercise is wanted")])
    from wizard.lab.sealing import Sealed, open_answer, open_bench

    sealed = checked(document, Sealed)
    by_bench = to_play and sealed.bench is not None
    exercise = open_bench(sealed) if by_bench else open_answer(sealed, passphrase())
    return Given(exercise, shelf.desk_for(exercise.complaint(), exercise.flow, path.parent), sealed=True)


def answer_at_once(given: Given, *, served: bool) -> bool:
    """Whether the answer is shown with the hand-in: as the exercise says, else not where it is sealed or served."""
    if given.exercise.feedback is not None:
        return given.exercise.feedback == "at-once"
    return not (given.sealed or served)
