"""The errors a user can cause, each saying where it is and what to do."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in one place of a file; line and column count from 1."""

    file: str
    line: int
    column: int
    field: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}"
        return f"{where}: {self.field}: {self.message}" if self.field else f"{where}: {self.message}"


class DropwalkError(Exception):
    """Something the user can put right; its text says how."""


class BadFile(DropwalkError):
    """A file that can't be used, with every problem found in it."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = sorted(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))
