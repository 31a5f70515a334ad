"""YAML text as plain data, with the place of every value; nothing in it is ever run, expanded or followed.

The parser's events are read one by one and never its tree: building the tree recurses in C, where a deeply
nested file would end the process, and expands aliases. Plain scalars follow the core schema of YAML 1.2. JSON
is YAML too, so a job's export is read the same way and its errors have a line and a column.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from pathlib import Path as FilePath
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from wizard.errors import BadFile, Problem
from wizard.quantities import printable

LARGEST_BYTES = 2_000_000
DEEPEST = 40
# Numbers with more digits than this are no measurement, and converting very long ones takes very long.
LONGEST_NUMBER = 40
MOST_PROBLEMS = 50

Path = tuple[str | int, ...]
Place = tuple[int, int]

_WORDS: dict[str, Any] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL"), None),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NO_NUMBER = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_NOT_YAML = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Document:
    """One file's data and where each value in it starts; `places` holds (line, column) by path."""

    def __init__(self, file: str, data: dict[str, Any], places: dict[Path, Place]) -> None:
        self.file = file
        self.data = data
        self.places = places

    def nearest(self, path: Path) -> Path:
        """The longest part of a path that the file has; names that are no keys of the file are passed over.

        A key is found under its other spelling too: `out-of-reach` where the file says `out_of_reach`.
        """
        kept: Path = ()
        for key in path:
            spellings = (key, key.replace("-", "_"), key.replace("_", "-")) if isinstance(key, str) else (key,)
            kept = next(((*kept, way) for way in spellings if (*kept, way) in self.places), kept)
        return kept

    def problem(self, path: Path, message: str) -> Problem:
        """A problem at this path, or at the nearest thing above it that the file does have."""
        line, column = self.places[self.nearest(path)]
        return Problem(self.file, line, column, dotted(path), printable(message))


def dotted(path: Path) -> str:
    """A path as errors show it: `readings.3.red`."""
    return printable(".".join(str(key) for key in path))[:120]


def read_document(path: FilePath, *, largest: int = LARGEST_BYTES) -> Document:
    """Read one YAML file of at most `largest` bytes.

    Raises BadFile for anything that is not one plain YAML 1.2 mapping.
    """
    name = str(path)

    def bad(message: str, line: int = 1, column: int = 1) -> BadFile:
        return BadFile([Problem(printable(name), line, column, "", message)])

    try:
        with path.open("rb") as file:
            raw = file.read(largest + 1)
    except FileNotFoundError:
        raise bad("there is no such file; check the path") from None
    except IsADirectoryError:
        raise bad("this is a folder; name a file in it") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise bad(f"the file can't be read: {printable(reason)}") from None
    if len(raw) > largest:
        raise bad(f"the file is larger than {largest // 1_000_000} MB, which no file of this kind needs")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - (before.rfind(b"\n") + 1) + 1
        raise bad("this is not UTF-8 text; save the file as plain text", line, column) from None
    return parse_document(text, name)


def parse_document(text: str, name: str) -> Document:
    """The same from text; `name` is what errors call it."""
    shown = printable(name)
    if odd := _NOT_YAML.search(text):
        before = text[: odd.start()]
        place = before.count("\n") + 1, odd.start() - (before.rfind("\n") + 1) + 1
        message = f"the character U+{ord(odd[0]):04X} is not allowed in YAML; remove it"
        raise BadFile([Problem(shown, *place, "", message)])
    reader = _Reader(shown, _events(text, shown))
    data = reader.document()
    if reader.problems:
        raise BadFile(reader.problems)
    return Document(shown, data, reader.places)


def _events(text: str, shown: str) -> Iterator[Event]:
    """The parser's events from the first document on. Raises BadFile where the text is not YAML."""
    try:
        yield from YAML(typ="safe").parse(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        reason = " ".join(str(part) for part in (error.context, error.problem) if part)
        raise BadFile([Problem(shown, line, column, "", f"not YAML: {printable(reason)[:200]}")]) from None
    except (YAMLError, ValueError) as error:
        reason = printable(" ".join(str(error).split()))[:200] or "it can't be parsed"
        raise BadFile([Problem(shown, 1, 1, "", f"not YAML: {reason}")]) from None


def _place(event: Event) -> Place:
    return event.start_mark.line + 1, event.start_mark.column + 1


class _Reader:
    """Plain data from the parser's events; aliases, tags and repeated keys are refused."""

    def __init__(self, file: str, events: Iterator[Event]) -> None:
        self.file = file
        self.places: dict[Path, Place] = {}
        self.problems: list[Problem] = []
        self._events = events

    def document(self) -> dict[str, Any]:
        """The whole text, which must be one mapping."""
        started = 0
        data: dict[str, Any] = {}
        for event in self._events:
            if not isinstance(event, DocumentStartEvent):
                continue
            started += 1
            if started > 1:
                self._bad(event, (), "a second document starts here; keep one to a file")
                break
            first = next(self._events)
            if isinstance(first, ScalarEvent) and not first.value and first.style in (None, ""):
                raise BadFile([Problem(self.file, 1, 1, "", "the file is empty")])
            if not isinstance(first, MappingStartEvent):
                problem = Problem(self.file, *_place(first), "", "the file must be a mapping of keys to values")
                raise BadFile([problem])
            data = self._value(first, ())
        if not started:
            raise BadFile([Problem(self.file, 1, 1, "", "the file is empty")])
        return data

    def _bad(self, event: Event, path: Path, message: str) -> None:
        self.problems.append(Problem(self.file, *_place(event), dotted(path), message))
        if len(self.problems) >= MOST_PROBLEMS:
            raise BadFile(self.problems)

    def _value(self, event: Event, path: Path) -> Any:
        self.places.setdefault(path, _place(event))
        if len(path) > DEEPEST:
            self._bad(event, path[:5], f"nested more than {DEEPEST} deep")
            raise BadFile(self.problems)
        if isinstance(event, AliasEvent):
            self._bad(event, path, "anchors and aliases are not read; write the value out")
            return None
        assert isinstance(event, (MappingStartEvent, SequenceStartEvent, ScalarEvent))
        if event.anchor is not None:
            self._bad(event, path, "anchors and aliases are not read; write the value without &")
        if event.tag is not None:
            self._bad(event, path, "tags are not read; write the value without !")
        if isinstance(event, MappingStartEvent):
            return self._mapping(path)
        if isinstance(event, SequenceStartEvent):
            return self._sequence(path)
        return self._plain(event, path) if event.style in (None, "") else event.value

    def _sequence(self, path: Path) -> list[Any]:
        out: list[Any] = []
        while not isinstance(event := next(self._events), SequenceEndEvent):
            out.append(self._value(event, (*path, len(out))))
        return out

    def _mapping(self, path: Path) -> dict[str, Any]:
        out: dict[str, Any] = {}
        while not isinstance(event := next(self._events), MappingEndEvent):
            if not isinstance(event, ScalarEvent):
                self._bad(event, path, "a key must be plain text")
                raise BadFile(self.problems)
            key = str(event.value)
            if key in out:
                self._bad(event, (*path, key), "this key stands here twice; remove one")
            if event.anchor is not None or event.tag is not None:
                self._bad(event, (*path, key), "anchors and tags are not read; write the key alone")
            self.places.setdefault((*path, key), _place(event))
            value = self._value(next(self._events), (*path, key))
            out.setdefault(key, value)
        return out

    def _plain(self, event: ScalarEvent, path: Path) -> Any:
        text = str(event.value)
        if text in _WORDS:
            return _WORDS[text]
        if _NO_NUMBER.fullmatch(text):
            self._bad(event, path, f"{text} is no value that can be measured; write a number")
            return None
        whole = _INT.fullmatch(text)
        if not whole and not _FLOAT.fullmatch(text):
            return text
        if len(text) > LONGEST_NUMBER:
            self._bad(event, path, f"a number of {len(text)} characters is too long")
            return None
        if whole:
            return int(text, 0 if text[:2] in ("0o", "0x") else 10)
        if not math.isfinite(number := float(text)):
            self._bad(event, path, f"{text} is too large")
            return None
        return number
