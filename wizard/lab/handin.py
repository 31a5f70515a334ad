"""A hand-in: one attempt as one JSON file, its deeds chained by hashes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from wizard.circuit.map import Checked
from wizard.circuit.map import Path as FieldPath
from wizard.errors import DropwalkError
from wizard.files.plainwords import checked
from wizard.files.yamltext import read_document
from wizard.lab import chain
from wizard.lab.deeds import Line
from wizard.lab.exercise import Exercise
from wizard.quantities import Id, Text

LARGEST_BYTES = 4_000_000
_Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Chained(Line):
    """A deed with the hash of it and all before it."""

    hash: _Hash


class HandIn(Checked):
    """One student's attempt. `sheet` is the fingerprint of the exercise as the student saw it, `seed` the bench's."""

    handin: Literal[1] = 1
    exercise: Id
    sheet: _Hash
    student: Text
    seed: Annotated[int, Field(ge=0, le=2**32 - 1)]
    began: AwareDatetime
    lines: Annotated[list[Chained], Field(max_length=5000)]
    closing: _Hash

    @classmethod
    def of(cls, exercise: Exercise, student: str, seed: int, began: AwareDatetime, lines: list[Line]) -> HandIn:
        """Chain an attempt."""
        open_ = cls.model_construct(
            handin=1, exercise=exercise.exercise, sheet=sheet_of(exercise), student=student, seed=seed, began=began
        )
        hashes = chain.links(open_.head(), lines)
        return cls(
            exercise=open_.exercise,
            sheet=open_.sheet,
            student=student,
            seed=seed,
            began=began,
            lines=[Chained(at_s=line.at_s, deed=line.deed, hash=h) for line, h in zip(lines, hashes[1:], strict=True)],
            closing=chain.closing(hashes),
        )

    def head(self) -> dict[str, str | int]:
        """What the chain begins with."""
        return {
            "handin": self.handin,
            "exercise": self.exercise,
            "sheet": self.sheet,
            "student": self.student,
            "seed": self.seed,
            "began": self.began.isoformat(),
        }

    def plain_lines(self) -> list[Line]:
        """The deeds without their hashes."""
        return [Line(at_s=line.at_s, deed=line.deed) for line in self.lines]

    def inconsistencies(self) -> Iterator[tuple[FieldPath, str]]:
        """Where the chain breaks, and times that run backwards."""
        lines = self.plain_lines()
        hashes = chain.links(self.head(), lines)
        before = 0.0
        for number, (line, made) in enumerate(zip(self.lines, hashes[1:], strict=True)):
            if line.at_s < before:
                yield ("lines", number, "at_s"), "this was done before the line above it"
            before = line.at_s
            if line.hash != made:
                yield ("lines", number, "hash"), "the chain breaks here: this line or one before it was changed"
                return
        if self.closing != chain.closing(hashes):
            yield ("closing",), "the chain does not end here: the head was changed, or lines are missing at the end"

    def text(self) -> str:
        """As it is written to its file."""
        return json.dumps(self.model_dump(mode="json"), indent=1, ensure_ascii=True) + "\n"


def sheet_of(exercise: Exercise) -> str:
    """The fingerprint of all that a student is shown of an exercise: nothing of what is hidden goes into it."""
    return chain.link("", public_part(exercise))


# What of an exercise only the teacher sees.
SECRET = ("hidden", "source_v", "demand_a", "seed", "acting_up", "answers", "setting_up")


def public_part(exercise: Exercise) -> dict[str, object]:
    """What a student may see of an exercise, as JSON holds it."""
    return exercise.model_dump(mode="json", exclude=set(SECRET), exclude_defaults=True)


def read_handin(path: Path) -> HandIn:
    """A hand-in from its file. Raises BadFile when it is damaged or was changed."""
    return checked(read_document(path, largest=LARGEST_BYTES), HandIn)


def write_handin(handin: HandIn, path: Path) -> None:
    """Write it beside what is there; a file that is there already is kept. Raises DropwalkError."""
    try:
        with path.open("x", encoding="utf-8") as out:
            out.write(handin.text())
    except FileExistsError:
        raise DropwalkError(f"{path} is there already; name another file") from None
    except OSError as error:
        raise DropwalkError(f"{path} can't be written: {error.strerror or error}") from None
