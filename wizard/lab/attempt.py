"""One student's attempt as it goes on: each deed is on disk before it is shown, and a broken-off attempt goes on."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Literal

from wizard.errors import DropwalkError
from wizard.lab.bench import Bench
from wizard.lab.classroom import ENDING
from wizard.lab.deeds import Concluded, Deed, Line, Probed, Repaired, SideNamed
from wizard.lab.exercise import Exercise
from wizard.lab.handin import HandIn, read_handin, sheet_of, write_handin
from wizard.walk.desk import Desk

_DRAFT = ".draft.json"
Earns = Literal["side", "repair", "proof"]


class Attempt:
    """Deeds at a bench, kept in `folder`. Build it with `begin`; `now` tells the time with its zone."""

    def __init__(
        self, exercise: Exercise, desk: Desk, student: str, seed: int, began: datetime, now: Callable[[], datetime]
    ) -> None:
        self.exercise, self.desk, self.student, self.seed, self.began = exercise, desk, student, seed, began
        self.lines: list[Line] = []
        self.bench = Bench(exercise, desk, seed)
        self.draft: Path | None = None
        self._on_disk: str | None = None
        self._now = now

    @classmethod
    def begin(
        cls, exercise: Exercise, desk: Desk, student: str, folder: Path, seed: int, now: Callable[[], datetime]
    ) -> Attempt:
        """A new attempt, or the one that this student broke off. Raises DropwalkError when that one is damaged."""
        draft = folder / f"{_stem(student)}.{exercise.exercise}{_DRAFT}"
        if not draft.exists():
            attempt = cls(exercise, desk, student, seed, now(), now)
            attempt.draft = draft
            return attempt
        kept = read_handin(draft)
        if kept.sheet != sheet_of(exercise) or kept.student != student:
            raise DropwalkError(f"{draft} is an attempt of another student or exercise; move it away first")
        attempt = cls(exercise, desk, student, kept.seed, kept.began, now)
        attempt.draft = draft
        attempt._on_disk = draft.read_text(encoding="utf-8")
        attempt.lines = kept.plain_lines()
        attempt.bench = Bench.replay(exercise, desk, kept.seed, attempt.lines)
        return attempt

    @property
    def elapsed_s(self) -> float:
        """Seconds since it began, never less than at the last deed."""
        last = self.lines[-1].at_s if self.lines else 0.0
        return round(max(last, (self._now() - self.began).total_seconds()), 1)

    @property
    def readings(self) -> list[Probed]:
        return [line.deed for line in self.lines if isinstance(line.deed, Probed)]

    @property
    def repairs(self) -> list[str]:
        return [line.deed.repair for line in self.lines if isinstance(line.deed, Repaired)]

    @property
    def answered(self) -> bool:
        """Whether the student's answer is among the deeds."""
        return any(isinstance(line.deed, Concluded) for line in self.lines)

    @property
    def unearned(self) -> list[Earns]:
        """What the scheme gives points for and was not done yet; whoever says that nothing is wrong repairs nothing."""
        scheme, deeds = self.exercise.scheme, [line.deed for line in self.lines]
        answer = next((deed for deed in reversed(deeds) if isinstance(deed, Concluded)), None)
        repaired = [number for number, deed in enumerate(deeds) if isinstance(deed, Repaired)]
        left: list[Earns] = []
        if scheme.side and not any(isinstance(deed, SideNamed) for deed in deeds):
            left.append("side")
        if not scheme.repair or (answer is not None and not answer.parts and not repaired):
            return left
        if not repaired:
            return [*left, "repair"]
        proved = any(isinstance(deed, Probed) and deed.counts for deed in deeds[repaired[-1] :])
        return left if proved else [*left, "proof"]

    def do(self, deed: Deed) -> Deed:
        """Do this now; it comes back with what was shown or heard. Raises DropwalkError when it can't be kept."""
        self._refuse_twice()
        at_s = self.elapsed_s
        done = self.bench.do(deed, at_s)
        self.lines.append(Line(at_s=at_s, deed=done))
        if self.draft is not None:
            fresh = self.draft.with_suffix(".new")
            text = self.handin().text()
            try:
                fresh.write_text(text, encoding="utf-8")
                fresh.replace(self.draft)
            except OSError as error:
                raise DropwalkError(f"{self.draft} can't be written: {error.strerror or error}") from None
            self._on_disk = text
        return done

    def _refuse_twice(self) -> None:
        """Two who go on with one attempt would each write over what the other did."""
        if self.draft is None:
            return
        try:
            now = self.draft.read_text(encoding="utf-8")
        except FileNotFoundError:
            now = None
        except OSError as error:
            raise DropwalkError(f"{self.draft} can't be read: {error.strerror or error}") from None
        if now != self._on_disk:
            raise DropwalkError("this attempt goes on somewhere else under the same name; leave, and open it again")

    def handin(self) -> HandIn:
        """All that was done so far, chained."""
        return HandIn.of(self.exercise, self.student, self.seed, self.began, self.lines)

    def hand_in(self) -> Path:
        """Write the hand-in beside the others and take the draft away; the file it is in. Raises DropwalkError."""
        assert self.draft is not None
        self._refuse_twice()
        stem = self.draft.name.removesuffix(_DRAFT)
        path = self.draft.with_name(stem + ENDING)
        number = 2
        while path.exists():
            path = self.draft.with_name(f"{stem}.{number}{ENDING}")
            number += 1
        write_handin(self.handin(), path)
        self.draft.unlink(missing_ok=True)
        return path


def _stem(student: str) -> str:
    """A file's name from a student's: letters and digits only, whatever else was typed."""
    return re.sub(r"[^a-z0-9]+", "-", student.lower()).strip("-")[:40] or "student"


def make_folder(folder: Path) -> None:
    """Make the folder for attempts and hand-ins where there is none. Raises DropwalkError when it can't be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DropwalkError(f"the folder {folder} can't be made: {error.strerror or error}") from None


def going_on(folder: Path, exercise: str) -> list[str]:
    """Names of those whose attempt at this exercise goes on in the folder; damaged ones are left out."""
    names: list[str] = []
    for draft in sorted(folder.glob(f"*.{exercise}{_DRAFT}")):
        try:
            names.append(read_handin(draft).student)
        except DropwalkError:
            continue
    return names


def times_handed_in(folder: Path, exercise: str) -> int:
    """How many hand-ins of this exercise are in the folder; a second one under a name has a number in its own."""
    return sum(len(list(folder.glob(f"*.{exercise}{number}{ENDING}"))) for number in ("", ".*"))
