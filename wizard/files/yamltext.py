"""YAML text as plain data, with the place of every value; nothing in it is ever run, expanded or followed."""

from __future__ import annotations

from pathlib import Path as FilePath
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from wizard.errors import BadFile, Problem
from wizard.quantities import printable

LARGEST_BYTES = 2_000_000
DEEPEST = 40

Path = tuple[str | int, ...]
Place = tuple[int, int]


class Document:
    """One file's data and where each value in it starts; `places` holds (line, column) by path."""

    def __init__(self, file: str, data: Any, places: dict[Path, Place]) -> None:
        self.file = file
        self.data = data
        self.places = places

    def problem(self, path: Path, message: str) -> Problem:
        """A problem at this path, or at the nearest thing above it that the file does have."""
        kept: list[str | int] = []
        for key in path:
            # pydantic names union members and dict keys in its paths; only keys of the file lead on.
            if (*kept, key) in self.places:
                kept.append(key)
        line, column = self.places[tuple(kept)]
        field = ".".join(str(key) for key in path if key != "[key]")
        return Problem(self.file, line, column, printable(field)[:120], printable(message))


def read_document(path: FilePath) -> Document:
    """Read one YAML file. Raises BadFile for anything that is not one plain YAML 1.2 mapping of modest size."""
    name = str(path)

    def bad(message: str, line: int = 1, column: int = 1) -> BadFile:
        return BadFile([Problem(printable(name), line, column, "", message)])

    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise bad("there is no such file; check the path") from None
    except IsADirectoryError:
        raise bad("this is a folder; name a file in it") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise bad(f"the file can't be read: {reason}") from None
    if len(raw) > LARGEST_BYTES:
        raise bad(f"the file is larger than {LARGEST_BYTES // 1_000_000} MB, which no file of this kind needs")
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
    try:
        node = YAML(typ="safe").compose(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        reason = " ".join(str(part) for part in (error.context, error.problem) if part)
        raise BadFile([Problem(shown, line, column, "", f"not YAML: {printable(reason)[:200]}")]) from None
    except (YAMLError, ValueError, RecursionError) as error:
        line, column = _unprintable_at(text)
        reason = printable(str(error).strip().splitlines()[0] if str(error).strip() else "not YAML")[:200]
        raise BadFile([Problem(shown, line, column, "", f"not YAML: {reason}")]) from None
    if node is None:
        raise BadFile([Problem(shown, 1, 1, "", "the file is empty")])
    if not isinstance(node, MappingNode):
        raise BadFile([Problem(shown, *_place(node), "", "the file must be a mapping of keys to values")])
    builder = _Builder(shown)
    data = builder.build(node, (), 0)
    if builder.problems:
        raise BadFile(builder.problems[:50])
    return Document(shown, data, builder.places)


def _unprintable_at(text: str) -> Place:
    for number, line in enumerate(text.split("\n"), 1):
        for column, character in enumerate(line, 1):
            if ord(character) < 32 and character not in "\t\r":
                return number, column
    return 1, 1


def _place(node: Node) -> Place:
    return node.start_mark.line + 1, node.start_mark.column + 1


class _Builder:
    """Plain data from YAML nodes. Aliases, tags and repeated keys are refused: these files need none of them."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.places: dict[Path, Place] = {}
        self.problems: list[Problem] = []
        self._seen: set[int] = set()

    def _bad(self, node: Node, path: Path, message: str) -> None:
        field = printable(".".join(map(str, path)))[:120]
        self.problems.append(Problem(self.file, *_place(node), field, message))

    def build(self, node: Node, path: Path, depth: int) -> Any:
        self.places.setdefault(path, _place(node))
        if depth > DEEPEST:
            self._bad(node, path[:5], f"nested more than {DEEPEST} deep")
            return None
        if id(node) in self._seen:
            self._bad(node, path, "anchors and aliases are not read; write the value out")
            return None
        self._seen.add(id(node))
        if isinstance(node, MappingNode):
            return self._mapping(node, path, depth)
        if isinstance(node, SequenceNode):
            if not str(node.tag).endswith(":seq"):
                self._bad(node, path, "tags are not read; write a plain list")
            return [self.build(item, (*path, number), depth + 1) for number, item in enumerate(node.value)]
        return self._scalar(node, path)

    def _mapping(self, node: MappingNode, path: Path, depth: int) -> dict[str, Any]:
        if not str(node.tag).endswith(":map"):
            self._bad(node, path, "tags are not read; write plain keys and values")
        out: dict[str, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, ScalarNode):
                self._bad(key_node, path, "a key must be plain text")
                continue
            key = str(key_node.value)
            if key in out:
                self._bad(key_node, (*path, key), "this key stands here twice; remove one")
                continue
            self.places[(*path, key)] = _place(key_node)
            out[key] = self.build(value_node, (*path, key), depth + 1)
        return out

    def _scalar(self, node: Node, path: Path) -> Any:
        text = str(node.value)
        kind = str(node.tag).rpartition(":")[2]
        if kind == "str":
            return text
        if kind == "null":
            return None
        if kind == "bool":
            return text.lower() == "true"
        try:
            if kind == "int":
                return int(text.replace("_", ""), 0) if text.lstrip("+-").startswith("0") else int(text)
            if kind == "float":
                return float(text.replace(".inf", "inf").replace(".nan", "nan"))
        except ValueError:
            return text
        if kind in ("timestamp", "merge", "binary", "value"):
            if kind == "binary" or kind == "merge":
                self._bad(node, path, "tags and merges are not read; write the value out")
            return text
        self._bad(node, path, "tags are not read; write a plain value")
        return None
