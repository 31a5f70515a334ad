"""A class's hand-ins marked one after the other, a table of them, and where the class went wrong."""

from __future__ import annotations

import csv
import io
import json
import multiprocessing
import os
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from wizard.errors import DropwalkError
from wizard.lab.exercise import FULL_MARKS, Exercise
from wizard.lab.handin import LARGEST_BYTES, read_handin
from wizard.lab.marking import Marked, Marker
from wizard.quantities import printable
from wizard.walk.desk import Desk

ENDING = ".handin.json"


@dataclass(frozen=True)
class Row:
    """One hand-in: marked, or why it could not be."""

    file: str
    marked: Marked | None
    trouble: str = ""


# Fewer hand-ins than this for each process are not worth starting it.
_LEAST_EACH = 20


class Classroom:
    """Marks hand-ins. `find` gives an exercise by its id; each is prepared once, before the first is marked."""

    def __init__(self, find: Callable[[str], tuple[Exercise, Desk]]) -> None:
        self._find = find
        self._markers: dict[str, Marker] = {}
        self._missing: dict[str, str] = {}

    def mark(self, files: list[Path]) -> Iterator[Row]:
        """Each file, in whatever order they are done. A damaged one gives a row that says so, and the rest go on.

        Large classes are marked by several processes where the system can copy this one as it stands. Each takes
        hand-ins that went about it alike, for these are held against the same best tests.
        """
        walks = {file: _walk_in(file) for file in files}
        for name in sorted({name for name, _ in walks.values() if name}):
            self._prepare(name)
        processes = min(os.cpu_count() or 1, len(files) // _LEAST_EACH)
        if processes < 2 or "fork" not in multiprocessing.get_all_start_methods():
            yield from map(self.row, files)
            return
        alike = sorted(files, key=lambda file: (walks[file], file.name))
        context = multiprocessing.get_context("fork")
        with ProcessPoolExecutor(processes, context, initializer=_take_over, initargs=(self,)) as pool:
            yield from pool.map(_row, alike, chunksize=_LEAST_EACH)

    def row(self, file: Path) -> Row:
        """One file, marked or with its trouble."""
        try:
            handin = read_handin(file)
            self._prepare(handin.exercise)
            if handin.exercise in self._missing:
                return Row(file.name, None, self._missing[handin.exercise])
            return Row(file.name, self._markers[handin.exercise].mark(handin))
        except DropwalkError as error:
            return Row(file.name, None, str(error).splitlines()[0])

    def _prepare(self, name: str) -> None:
        if name not in self._markers and name not in self._missing:
            try:
                self._markers[name] = Marker(*self._find(name))
            except DropwalkError as error:
                self._missing[name] = str(error).splitlines()[0]


def _walk_in(file: Path) -> tuple[str, list[str]]:
    """The exercise that a hand-in names and where its leads went, looked at in passing.

    Whether the file is sound is asked later; of one that can't be read all is empty.
    """
    try:
        data = json.loads(file.read_bytes()[:LARGEST_BYTES])
        name = data["exercise"]
        deeds = [line["deed"] for line in data["lines"]]
        walk = [f"{deed.get('red')} {deed.get('black')} {deed.get('repair')}" for deed in deeds]
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return "", []
    return (name, walk) if isinstance(name, str) else ("", [])


# In a process that marks for another: the classroom that it was copied with.
_taken_over: list[Classroom] = []


def _take_over(classroom: Classroom) -> None:
    _taken_over[:] = [classroom]


def _row(file: Path) -> Row:
    return _taken_over[0].row(file)


def handins_in(folder: Path) -> list[Path]:
    """The hand-ins in a folder, by name. Raises DropwalkError when there are none."""
    if not folder.is_dir():
        raise DropwalkError(f"there is no folder {printable(str(folder))}")
    files = sorted(path for path in folder.iterdir() if path.name.endswith(ENDING) and path.is_file())
    if not files:
        raise DropwalkError(f"there is no hand-in in {printable(str(folder))}; their names end in {ENDING}")
    return files


def table(rows: list[Row]) -> str:
    """The marks as CSV, a line for each hand-in; text that a spreadsheet would take for a formula is quoted."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    names = [mark.what for row in rows if row.marked for mark in row.marked.marks]
    names = list(dict.fromkeys(names))
    writer.writerow(["file", "student", "exercise", "total", *names, "explained", "best tests met", "trouble"])
    for row in rows:
        if row.marked is None:
            writer.writerow([_cell(row.file), "", "", "", *("" for _ in names), "", "", _cell(row.trouble)])
            continue
        marked = row.marked
        points = {mark.what: f"{mark.points:g}" for mark in marked.marks}
        why = " ".join(f"{mark.what}: {mark.points:g} of {mark.of}. {mark.why}" for mark in marked.marks)
        met = f"{sum(step.same for step in marked.steps)} of {len(marked.steps)}"
        cells = [row.file, marked.student, marked.exercise, f"{marked.total:g}"]
        writer.writerow([*map(_cell, cells), *(points.get(name, "") for name in names), _cell(why), met, ""])
    return out.getvalue()


def _cell(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


@dataclass(frozen=True)
class Summary:
    """One exercise over the class: how many, the mean, the share of points lost by criterion, and wrong turns.

    `turns` are readings that were not the best next test, with what would have been, the commonest first.
    """

    exercise: str
    count: int
    mean: float
    lowest: float
    highest: float
    lost: dict[str, float]
    turns: list[tuple[str, str, int]]


def summaries(rows: list[Row]) -> list[Summary]:
    """A summary for each exercise, in the order of their names."""
    by_name: dict[str, list[Marked]] = {}
    for row in rows:
        if row.marked is not None:
            by_name.setdefault(row.marked.exercise, []).append(row.marked)
    out: list[Summary] = []
    for name, marked in sorted(by_name.items()):
        totals = [one.total for one in marked]
        lost = {
            mark.what: 1.0 - sum(m.marks[n].points for m in marked) / (mark.of * len(marked))
            for n, mark in enumerate(marked[0].marks)
            if mark.of
        }
        turns = Counter((step.done.rpartition(":")[0], step.best) for m in marked for step in m.steps if not step.same)
        common = [(done, best, count) for (done, best), count in turns.most_common(5)]
        out.append(Summary(name, len(marked), sum(totals) / len(totals), min(totals), max(totals), lost, common))
    return out


_BAR = 30


def _handins(count: int) -> str:
    return f"{count} {'hand-in' if count == 1 else 'hand-ins'}"


def _points(summary: Summary) -> str:
    if summary.count == 1:
        return f"{summary.mean:.0f} of {FULL_MARKS}"
    return f"mean {summary.mean:.0f} of {FULL_MARKS}, {summary.lowest:.0f} to {summary.highest:.0f}"


def summary_text(summary: Summary) -> str:
    """The summary with its bars, for a terminal."""
    lines = [
        f"{summary.exercise}: {_handins(summary.count)}, {_points(summary)}",
        "  points lost, of those to be had",
    ]
    for what, share in sorted(summary.lost.items(), key=lambda pair: -pair[1]):
        lines.append(f"    {what:20} {'#' * round(share * _BAR):{_BAR}} {share:4.0%}")
    if summary.turns:
        lines.append("  where the class went another way")
        lines += [f"    {count} x {done}\n        best was: {best}" for done, best, count in summary.turns]
    return "\n".join(lines)


_ROW_PX, _LABEL_PX, _WIDE_PX, _TOP_PX = 22, 170, 640, 34


def summary_svg(found: list[Summary]) -> str:
    """The same as a drawing (SVG): for each exercise a bar for each criterion's share of points lost."""
    height = sum(_TOP_PX + _ROW_PX * len(s.lost) + 14 for s in found) + 10
    body: list[str] = []
    top = 10
    for summary in found:
        heading = f"{summary.exercise}: {_handins(summary.count)}, {_points(summary)}. Share of points lost"
        body.append(f'<text x="8" y="{top + 16}" font-weight="bold">{escape(heading)}</text>')
        top += _TOP_PX
        for what, share in sorted(summary.lost.items(), key=lambda pair: -pair[1]):
            width = round((_WIDE_PX - _LABEL_PX - 70) * share)
            body.append(
                f'<text x="8" y="{top + 13}">{escape(what)}</text>'
                f'<rect x="{_LABEL_PX}" y="{top + 2}" width="{width}" height="14" fill="#46627f"/>'
                f'<text x="{_LABEL_PX + width + 6}" y="{top + 13}">{share:.0%}</text>'
            )
            top += _ROW_PX
        top += 14
    label = quoteattr("Share of points lost by criterion")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDE_PX}" height="{height}" role="img" aria-label={label} '
        f'font-family="sans-serif" font-size="13">\n<rect width="100%" height="100%" fill="#ffffff"/>\n'
        + "\n".join(body)
        + "\n</svg>\n"
    )
