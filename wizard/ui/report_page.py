"""The report from the screen: in which form, where to, and never over a file without asking."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wizard.errors import DropwalkError
from wizard.ui.ask_text import AskText
from wizard.ui.confirm import Confirm
from wizard.ui.pick import Item, Pick

if TYPE_CHECKING:
    from textual.app import App

    from wizard.record.report_files import Paper
    from wizard.record.session import Session

_FORMS = [
    Item("pdf a4", "PDF on A4 paper"),
    Item("pdf us-letter", "PDF on Letter paper"),
    Item("html", "HTML in one file, to read on a screen or to print"),
    Item("md", "Markdown, plain text with tables"),
    Item("json", "JSON, for a program"),
]
_ENDINGS = (".pdf", ".html", ".htm", ".md", ".json")
_MOST_NAME = 60


@dataclass(frozen=True)
class Destination:
    """Where a report goes; the file's ending says its form. `replace` was agreed to for a file that is there."""

    file: Path
    paper: Paper = "a4"
    replace: bool = False


def ask_destination(app: App[Any], title: str, today: date, use: Callable[[Destination], None]) -> None:
    """Ask for form and file, then `use` them; leaving any of the questions writes nothing."""

    def form(ids: tuple[str, ...] | None) -> None:
        if not ids:
            return
        ending, _, paper = ids[0].partition(" ")
        chosen: Paper = "us-letter" if paper == "us-letter" else "a4"
        file = suggested(title, today, f".{ending}", _folder())
        hint = "Where to; the ending says the form. A file that is there already is not touched without asking."
        app.push_screen(AskText("Write the report to", hint, str(file), place), lambda text: file_named(text, chosen))

    def file_named(text: str | None, paper: Paper) -> None:
        if text is None:
            return
        file = place(text)
        if not file.exists():
            use(Destination(file, paper))
            return
        app.push_screen(
            Confirm("It is there already", f"{file} is there already. Write over it?", "write over it", "keep it"),
            lambda yes: use(Destination(file, paper, replace=True)) if yes else None,
        )

    app.push_screen(Pick("Report: in which form?", _FORMS), form)


def _folder() -> Path:
    """The user's documents where there is such a folder, else the one that dropwalk was started in."""
    import platformdirs

    documents = platformdirs.user_documents_path()
    return documents if documents.is_dir() else Path.cwd()


def suggested(title: str, today: date, ending: str, folder: Path) -> Path:
    """A name made of the job's title and the day that no file in the folder has yet."""
    words = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:_MOST_NAME].strip("-") or "job"
    names = (f"{words}-{today}{more}{ending}" for more in ["", *(f"-{number}" for number in range(2, 100))])
    return next((file for name in names if not (file := folder / name).exists()), folder / f"{words}{ending}")


def place(text: str) -> Path:
    """The file that was typed, in full; `~` is the user's own folder. Raises ValueError with what to do instead."""
    if not text.strip() or "\0" in text:
        raise ValueError("type the name of a file")
    try:
        file = Path(text.strip()).expanduser()
        if file.suffix.lower() not in _ENDINGS:
            raise ValueError(f"let the name end in {', '.join(_ENDINGS)}")
        if file.is_dir():
            raise ValueError(f"{file} is a folder; name a file in it")
        if not file.parent.is_dir():
            raise ValueError(f"there is no folder {file.parent}")
        return file.absolute()
    except (OSError, RuntimeError) as error:
        raise ValueError(f"{text.strip()[:60]} can't be used: {error}") from None


def write_report(session: Session, written: datetime, to: Destination) -> str:
    """Write it, and say in one line what became of it."""
    from wizard.record.report import session_report
    from wizard.record.report_files import AlreadyThere, write

    try:
        report, drawn = session_report(session, written)
        write(report, drawn, session.desk.circuit, to.file, paper=to.paper, replace=to.replace)
    except AlreadyThere:
        return f"! {to.file} has appeared meanwhile and was not touched. Write the report again under another name."
    except DropwalkError as error:
        return f"! {error}"
    return f"The report is in {to.file}"
