"""Home: the jobs on record, and the ways to begin."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from wizard.errors import DropwalkError
from wizard.ui.keybar import Key, KeyBar

if TYPE_CHECKING:
    from wizard.record.store import JobSummary
    from wizard.ui.app import DropwalkApp

_KEYS: list[Key] = [
    ("Enter", "open"),
    ("n", "new job"),
    ("d", "demo vehicle"),
    ("a", "about and cautions"),
    ("x", "archive"),
    ("Ctrl+T", "light or dark"),
    ("q", "quit"),
]
_DEFER = "The maker's service information, local rules and licensed practice come first."
_EMPTY = (
    "No jobs yet.\n\n"
    "Press n to begin a job: say what the vehicle does, and the wizard tells you\nwhere to put the leads.\n"
    "Press d to try it on a made-up vehicle with a simulated meter."
)


class HomeScreen(Screen[None]):
    """Lists jobs, the one last worked on first; Enter goes on with it exactly where it was left."""

    DEFAULT_CSS = """
    HomeScreen #name { height: 3; padding: 1 2 0 2; color: $primary; text-style: bold; }
    HomeScreen #lead { height: 2; padding: 0 2; color: $secondary; }
    HomeScreen #jobs { height: 1fr; padding: 0 2; }
    HomeScreen OptionList { border: none; padding: 0; background: $background; height: auto; max-height: 100%; }
    HomeScreen OptionList:focus { border: none; background-tint: $foreground 0%; }
    HomeScreen #defer { height: 1; padding: 0 2; color: $secondary; }
    HomeScreen #said { height: auto; padding: 0 2; color: $warning; }
    """
    AUTO_FOCUS = "OptionList"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("n", "new", show=False),
        Binding("d", "demo", show=False),
        Binding("a,question_mark", "about", show=False),
        Binding("x", "archive", show=False),
        Binding("q", "quit", show=False),
    ]
    app: DropwalkApp

    def compose(self) -> ComposeResult:
        yield Static("dropwalk", id="name", markup=False)
        yield Static("From \u201cit only clicks\u201d to a proven repair.", id="lead", markup=False)
        with Vertical(id="jobs"):
            yield OptionList(markup=False)
            yield Static(_EMPTY, id="empty", markup=False)
        yield Static("", id="said", markup=False)
        yield Static(_DEFER, id="defer", markup=False)
        yield KeyBar(_KEYS)

    def on_mount(self) -> None:
        self.refresh_jobs()

    def on_screen_resume(self) -> None:
        self.refresh_jobs()

    def refresh_jobs(self) -> None:
        """Read the list again, keeping the bar on the job it was on."""
        try:
            jobs = self.app.store.jobs()
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        options = self.query_one(OptionList)
        before = options.highlighted_option.id if options.highlighted_option else None
        options.clear_options()
        now = self.app.now()
        options.add_options([Option(_line(job, now, wide=self.size.width >= 100), id=str(job.id)) for job in jobs])
        options.display = bool(jobs)
        self.query_one("#empty").display = not jobs
        if jobs:
            ids = [str(job.id) for job in jobs]
            options.highlighted = ids.index(before) if before in ids else 0

    def say(self, text: str) -> None:
        """One line about what just happened."""
        self.query_one("#said", Static).update(text)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        if event.option.id is not None:
            self.app.open_job(int(event.option.id))

    def action_new(self) -> None:
        self.app.new_job()

    def action_demo(self) -> None:
        self.app.choose_demo()

    def action_about(self) -> None:
        self.app.show_about()

    def action_archive(self) -> None:
        option = self.query_one(OptionList).highlighted_option
        if option is None or option.id is None:
            return
        try:
            self.app.store.archive(int(option.id))
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        self.say(f"Job {option.id} is archived, not erased: `dropwalk jobs` can bring it back.")
        self.refresh_jobs()

    def action_quit(self) -> None:
        self.app.exit()


def _line(job: JobSummary, now: datetime, *, wide: bool) -> Content:
    name = 40 if wide else 28
    full = f"demo: {job.title}" if job.scenario else job.title
    title = full if len(full) <= name else f"{full[: name - 1]}…"
    if job.trouble:
        return Content.assemble((f"{title:{name}}  ", "bold"), (f"! {job.trouble}", "$error"))
    symptom = (job.symptom or "").replace("-", " ")
    taken = f"{job.readings} reading{'' if job.readings == 1 else 's'}"
    circuit = f"{job.circuit}"[:24] if wide else ""
    return Content.assemble(
        (f"{title:{name}}  ", "bold"), f"{symptom:17}{taken:13}{_ago(job.updated, now):14}{circuit}"
    )


def _ago(then: datetime, now: datetime) -> str:
    minutes = (now - then).total_seconds() / 60
    if minutes < 1:
        return "just now"
    if minutes < 60:
        return f"{minutes:.0f} min ago"
    if minutes < 48 * 60:
        return f"{minutes / 60:.0f} h ago"
    return then.astimezone().strftime("%Y-%m-%d")
