"""A report as a file: HTML, PDF, Markdown or JSON, by the file's ending."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from wizard.circuit.circuit import Circuit
from wizard.diagnosis.evidence import DOUBTED
from wizard.errors import DropwalkError
from wizard.quantities import show_share
from wizard.record.costs import money, show_minutes
from wizard.record.report_lines import CostLine, Drawn, ReadingLine, Report, StartsLine
from wizard.record.report_svg import circuit_svg, profile_svg

if TYPE_CHECKING:
    from jinja2 import Environment

Paper = Literal["a4", "us-letter"]
_TEMPLATES = Path(__file__).resolve().parent / "templates"
# Between a number and its unit no line breaks.
_UNIT = re.compile(r"(?<=\d) (?=(?:V|A|%|min|h|m|mm2|C)(?![A-Za-z0-9]))")
# A word longer than this gets places where a printed line may break, one in so many characters.
_LONG_WORD, _BREAK_EVERY = re.compile(r"\S{21,}"), re.compile(r"\S{10}(?=\S)")
_MARKDOWN = re.compile(r"([\\`*_\[\]<>|#~&!$])")


class AlreadyThere(DropwalkError):
    """A file with the name that was given is there, and it was not agreed to write over it."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"{file} is there already; name another file, or write --replace")


def render(report: Report, drawn: Drawn, circuit: Circuit, ending: str, paper: Paper = "a4") -> bytes:
    """The report in the form that a file with this ending has. Raises DropwalkError for an ending that is none of them.

    HTML and Markdown print on any paper; `paper` is for the PDF.
    """
    forms: dict[str, Callable[[], bytes]] = {
        ".html": lambda: _html(report, drawn, circuit),
        ".htm": lambda: _html(report, drawn, circuit),
        ".pdf": lambda: _pdf(report, drawn, circuit, paper),
        ".md": lambda: _markdown(report),
        ".json": lambda: (json.dumps(report.to_json(), indent=2, ensure_ascii=False) + "\n").encode(),
    }
    form = forms.get(ending.lower())
    if form is None:
        found = f"the ending {ending!r}" if ending else "no ending"
        raise DropwalkError(f"a report can't be written to a file with {found}; use {', '.join(forms)}")
    return form()


def write(
    report: Report, drawn: Drawn, circuit: Circuit, file: Path, *, paper: Paper = "a4", replace: bool = False
) -> None:
    """Write the report to a file whose ending says its form. A file that is there already is kept unless `replace`.

    Raises DropwalkError when it can't be written.
    """
    data = render(report, drawn, circuit, file.suffix, paper)
    try:
        with file.open("wb" if replace else "xb") as out:
            out.write(data)
    except FileExistsError:
        raise AlreadyThere(file) from None
    except OSError as error:
        raise DropwalkError(f"{file} can't be written: {error.strerror or error}") from None


def _html(report: Report, drawn: Drawn, circuit: Circuit) -> bytes:
    from markupsafe import Markup

    # The drawings escape every text in them themselves.
    plot, ladder = Markup(profile_svg(drawn)), Markup(circuit_svg(circuit, drawn))
    template = _environment(autoescape=True, finalize=_kept_together).get_template("report.html")
    return template.render(r=report, c=report.customer, plot=plot, circuit=ladder).encode()


def _markdown(report: Report) -> bytes:
    template = _environment(autoescape=False, finalize=_as_markdown).get_template("report.md")
    text = template.render(r=report, c=report.customer)
    return re.sub(r"\n{3,}", "\n\n", text).encode()


def _environment(**options: Any) -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(_TEMPLATES), undefined=StrictUndefined, keep_trailing_newline=True, **options
    )
    made.filters.update(when=_when, money=money, minutes=show_minutes, plain=_plain, share=show_share)
    return made


def _kept_together(value: Any) -> Any:
    """Text without a place to break between a number and its unit."""
    return _UNIT.sub("\u00a0", value) if type(value) is str else value


def _as_markdown(value: Any) -> Any:
    """Text with everything escaped that Markdown, or HTML in it, would take for markup."""
    from jinja2 import Undefined
    from markupsafe import Markup

    if isinstance(value, Undefined | Markup) or not isinstance(value, str):
        return value
    flat = re.sub(r"\s+", " ", value)
    escaped = _MARKDOWN.sub(r"\\\1", flat).replace("\\<", "&lt;").replace("\\&", "&amp;")
    return re.sub(r"^(\d+)([.)])(?=\s|$)|^([-+=])", lambda m: f"{m[1]}\\{m[2]}" if m[1] else f"\\{m[3]}", escaped)


def _pdf(report: Report, drawn: Drawn, circuit: Circuit, paper: Paper) -> bytes:
    import typst

    job = f"Job {report.job}. " if report.job else ""
    data = {
        "report": report.to_json(),
        "paper": paper,
        "written": f"{job}Written {_when(report.written)}.",
        "footer": report.title[:90],
        "vehicle": list(report.vehicle.items()),
        "complaint": list(report.complaint.items()),
        "conditions": list(report.conditions.items()),
        "totals": _totals(report),
        "work_minutes": show_minutes(report.work.minutes) if report.work else "",
        "starts": [_starts_cells(line) for line in report.starts],
        "answers": [[_when(a.at), str(a.set or ""), a.question, a.answer] for a in report.answers],
        "readings": [_reading_cells(line) for line in report.readings],
        "struck_readings": [number for number, line in enumerate(report.readings) if line.struck],
        "costs": [_cost_cells(line) for line in report.costs],
        "struck_costs": [number for number, line in enumerate(report.costs) if line.struck],
        "plot": profile_svg(drawn),
        "circuit": circuit_svg(circuit, drawn),
    }
    drawings = {"plot", "circuit"}
    broken = {key: value if key in drawings else _breakable(value) for key, value in data.items()}
    made = typst.compile((_TEMPLATES / "report.typ").read_bytes(), sys_inputs={"data": json.dumps(broken)})
    assert isinstance(made, bytes)
    return made


def _breakable(value: Any) -> Any:
    """The same data with a place to break in every very long word, and none before a unit."""
    if isinstance(value, str):
        value = _UNIT.sub("\u00a0", value)
        return _LONG_WORD.sub(lambda word: _BREAK_EVERY.sub(lambda piece: piece[0] + "\u200b", word[0]), value)
    if isinstance(value, dict):
        return {key: _breakable(item) for key, item in value.items()}
    return [_breakable(item) for item in value] if isinstance(value, list | tuple) else value


def _totals(report: Report) -> list[tuple[str, str]]:
    totals = report.totals
    if totals is None:
        return []
    labour = show_minutes(totals.minutes)
    if totals.labour is not None:
        labour = f"{money(totals.labour)} ({labour})"
    lines = [("Labour", labour), ("Parts", money(totals.parts))]
    return [*lines, ("Total", money(totals.total))] if totals.total is not None else lines


def _starts_cells(line: StartsLine) -> list[str]:
    needed = [str(number) if number is not None else "" for number in (line.needed_90, line.needed_95)]
    before = f"{line.failed_before} of {line.tries_before}"
    counted = [before, str(line.failed_since), str(line.in_a_row)]
    return [line.engine, *counted, *needed, show_share(line.confidence), ", ".join(line.days)]


def _reading_cells(line: ReadingLine) -> list[str]:
    note = line.note + (" (doubtful)" if line.doubt >= DOUBTED else "")
    place = [str(line.id), _when(line.at), line.state, str(line.set or ""), line.span]
    return [*place, line.value, line.limit, line.expected, line.judged, note.strip()]


def _cost_cells(line: CostLine) -> list[str]:
    figures = [_plain(line.minutes), _plain(line.count), money(line.price), money(line.total)]
    return [str(line.entry), line.what, *figures]


def _when(moment: datetime | None) -> str:
    return f"{moment:%Y-%m-%d %H:%M}" if moment else ""


def _plain(number: float | None) -> str:
    return "" if number is None else f"{number:g}"
