"""Home: the jobs on record, and the ways to begin."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from wizard.errors import DropwalkError
from wizard.quantities import show_amps, show_volts
from wizard.ui.fit import cut, shortened, two_in
from wizard.ui.keybar import Key, KeyBar, UnderBoxes

if TYPE_CHECKING:
    from wizard.record.session import Session
    from wizard.record.store import JobSummary
    from wizard.ui.app import DropwalkApp
    from wizard.walk.assessment import Stands

_KEYS: list[Key] = [
    ("Enter", "open"),
    ("n", "new job"),
    ("d", "demo vehicle"),
    ("e", "exercises"),
    ("a", "about and cautions"),
    ("i", "starts"),
    ("/", "find"),
    ("x", "archive"),
    ("z", "archived jobs"),
    ("s", "settings"),
    ("g", "words"),
    ("Ctrl+T", "light or dark"),
    ("?", "help"),
    ("q", "quit"),
]
_ARCHIVE_KEYS: list[Key] = [
    ("Enter", "open"),
    ("x", "put back on the list"),
    ("/", "find"),
    ("Esc", "jobs at hand"),
    ("?", "help"),
    ("q", "quit"),
]
_FINDING: Key = ("Esc", "all of them again")
# What these do, they do to the job that the bar is on.
_OF_A_JOB = {"Enter", "i", "x"}
# Columns for the last reading on a wide screen.
_LAST = 35
_LEAD = "From a starter that only clicks to a proven repair."
_ARCHIVE = "The archive: nothing in it is lost."
_DEFER = "The maker's service information, local rules and licensed practice come first."
_EMPTY = (
    "No jobs yet.\n\n"
    "Press n to begin a job: say what the vehicle does, and the wizard tells you\nwhere to put the leads.\n"
    "Press d to try it on a made-up vehicle with a simulated meter."
)


class HomeScreen(UnderBoxes[None]):
    """Lists jobs, the one last worked on first; Enter goes on with it exactly where it was left."""

    DEFAULT_CSS = """
    HomeScreen #name { height: 3; padding: 1 2 0 2; color: $primary; text-style: bold; }
    HomeScreen #lead { height: 2; padding: 0 2; color: $secondary; }
    HomeScreen #find { display: none; margin: 0 2; background: $panel; }
    HomeScreen #jobs { height: 1fr; padding: 0 2; }
    HomeScreen OptionList { border: none; padding: 0; background: $background; height: auto; max-height: 100%; }
    HomeScreen OptionList:focus { border: none; background-tint: $foreground 0%; }
    HomeScreen #defer { height: auto; padding: 0 2; color: $secondary; }
    HomeScreen #said { height: auto; padding: 0 2; color: $warning; }
    """
    AUTO_FOCUS = "OptionList"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("n", "new", show=False),
        Binding("d", "demo", show=False),
        Binding("e", "exercise", show=False),
        Binding("a", "about", show=False),
        Binding("question_mark", "help", show=False),
        Binding("i", "starts", show=False),
        Binding("slash", "find", show=False),
        Binding("z", "archived", show=False),
        Binding("s", "settings", show=False),
        Binding("g", "words", show=False),
        Binding("escape", "back", show=False),
        Binding("x", "archive", show=False),
        Binding("q", "quit", show=False),
    ]
    app: DropwalkApp

    def __init__(self) -> None:
        super().__init__()
        self.archived = False
        # The job that was opened last: the bar goes to it once it has been left.
        self._opened: str | None = None
        # What is listed, and where those that were repaired stand: None where that can't be told.
        self._listed: list[JobSummary] = []
        self._stands: dict[tuple[int, int, str], Stands | None] = {}

    def compose(self) -> ComposeResult:
        yield Static("dropwalk", id="name", markup=False)
        yield Static(_LEAD, id="lead", markup=False)
        yield Input(placeholder="a few letters of the title, the circuit or the symptom", compact=True, id="find")
        with Vertical(id="jobs"):
            yield OptionList(markup=False)
            yield Static(_EMPTY, id="empty", markup=False)
        yield Static("", id="said", markup=False)
        yield Static(_DEFER, id="defer", markup=False)
        yield KeyBar(_KEYS)

    def on_mount(self) -> None:
        self.refresh_jobs()

    def on_screen_resume(self) -> None:
        if self._opened is not None and self._opened not in self.refresh_jobs():
            # Begun while something was looked for, or the archive was shown.
            self._show_which(archived=False)
            self._find_no_more()
        self.refresh_jobs()
        self._opened = None

    def opened(self, job_id: int) -> None:
        """This job is open now."""
        self._opened = str(job_id)

    def refresh_jobs(self) -> list[str]:
        """Read the list again, with the bar on the job just left or else the one it was on; gives what is listed."""
        try:
            every = self.app.store.jobs(archived=self.archived)
        except DropwalkError as error:
            self.say(f"! {error}")
            return []
        words = self.query_one("#find", Input).value.lower().split()
        jobs = [job for job in every if job.archived is self.archived and _has(job, words)]
        options = self.query_one("#jobs OptionList", OptionList)
        before = options.highlighted_option.id if options.highlighted_option else None
        options.clear_options()
        self._listed = jobs
        options.add_options([Option(self._line(job), id=str(job.id)) for job in jobs])
        self.call_after_refresh(self._work_out)
        options.display = bool(jobs)
        empty = self.query_one("#empty", Static)
        empty.display = not jobs
        empty.update("No job has these letters." if words else "The archive is empty." if self.archived else _EMPTY)
        self.query_one(KeyBar).show(self._keys(any_listed=bool(jobs), finding=bool(words)))
        ids = [str(job.id) for job in jobs]
        if ids:
            on = next((name for name in (self._opened, before) if name in ids), ids[0])
            options.highlighted = ids.index(on)
            if self.focused is None:
                # An empty list is not shown, and what is not shown keeps no keys.
                options.focus()
        return ids

    def _line(self, job: JobSummary) -> Content:
        return _line(job, self._stands.get(self._key(job)), self.app.now(), wide=self.size.width >= 110)

    def _key(self, job: JobSummary) -> tuple[int, int, str]:
        """What an answer stays good for: more events, or another meter, may make it another."""
        return job.id, job.events, repr(self.app.settings.meter)

    def _work_out(self) -> None:
        """How each repaired job stands has to be judged by its readings: beside the screen, one after the other."""
        unknown = [
            job for job in self._listed if job.repairs and not job.trouble and self._key(job) not in self._stands
        ]
        if unknown and self.is_current:
            self.run_worker(partial(self._judge, unknown), thread=True, exclusive=True, group="stands")

    def _judge(self, jobs: list[JobSummary]) -> None:
        from wizard.walk.standing import standing

        worker = get_current_worker()
        for job in jobs:
            if worker.is_cancelled:
                return
            try:
                # The store answers to the screen's own thread alone.
                session = self.app.call_from_thread(self._open, job)
                told = standing(session.case())
            except DropwalkError:
                # Opening the job says why.
                told = None
            if worker.is_cancelled:
                return
            self.app.call_from_thread(self._judged, job, told.stands if told else None)

    def _open(self, job: JobSummary) -> Session:
        from wizard.record.session import Session

        session = Session.open(self.app.store, job.id, self.app.now)
        session.use_meter(self.app.settings.meter)
        return session

    def _judged(self, job: JobSummary, stands: Stands | None) -> None:
        self._stands[self._key(job)] = stands
        if job in self._listed:
            self.query_one("#jobs OptionList", OptionList).replace_option_prompt(str(job.id), self._line(job))

    def on_screen_suspend(self) -> None:
        self.workers.cancel_group(self, "stands")

    def _keys(self, *, any_listed: bool, finding: bool) -> list[Key]:
        """Only what does something now."""
        keys = _ARCHIVE_KEYS if self.archived else _KEYS
        if finding:
            keys = [_FINDING, *(key for key in keys if key[0] != _FINDING[0])]
        if any_listed:
            return keys
        useless = _OF_A_JOB if finding else {*_OF_A_JOB, "/"}
        return [key for key in keys if key[0] not in useless]

    def say(self, text: str) -> None:
        """One line about what just happened."""
        self.query_one("#said", Static).update(text)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        if event.option.id is not None:
            self.app.open_job(int(event.option.id))

    def action_starts(self) -> None:
        """Straight to the starts of the job that the bar is on."""
        option = self.query_one("#jobs OptionList", OptionList).highlighted_option
        if option is not None and option.id is not None:
            self.app.open_job(int(option.id), starts=True)

    def action_new(self) -> None:
        self.app.new_job()

    def action_demo(self) -> None:
        self.app.choose_demo()

    def action_exercise(self) -> None:
        self.app.choose_exercise()

    def action_about(self) -> None:
        self.app.show_about()

    def action_help(self) -> None:
        self.app.action_help_here()

    def action_settings(self) -> None:
        self.app.show_settings(lambda _: None)

    def action_words(self) -> None:
        self.app.show_glossary()

    def action_find(self) -> None:
        find = self.query_one("#find", Input)
        find.display = True
        find.focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self.refresh_jobs()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.query_one("#jobs OptionList", OptionList).focus()

    def action_back(self) -> None:
        """Every job again after looking for one; then, in the archive, the jobs at hand."""
        if self.query_one("#find", Input).display:
            self._find_no_more()
        elif self.archived:
            self.action_archived()

    def _find_no_more(self) -> None:
        find = self.query_one("#find", Input)
        find.value = ""
        find.display = False
        self.query_one("#jobs OptionList", OptionList).focus()

    def action_archived(self) -> None:
        """Between the jobs at hand and the archive."""
        self._show_which(archived=not self.archived)
        self.say("")
        self.refresh_jobs()

    def _show_which(self, *, archived: bool) -> None:
        self.archived = archived
        self.query_one("#lead", Static).update(_ARCHIVE if archived else _LEAD)

    def action_archive(self) -> None:
        option = self.query_one("#jobs OptionList", OptionList).highlighted_option
        if option is None or option.id is None:
            return
        try:
            self.app.store.archive(int(option.id), not self.archived)
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        told = "is back on the list" if self.archived else "is archived, not erased: z shows the archive"
        self.say(f"Job {option.id} {told}.")
        self.refresh_jobs()

    def action_quit(self) -> None:
        self.app.exit()


def _has(job: JobSummary, words: list[str]) -> bool:
    text = f"{job.title} {job.circuit or ''} {job.symptom or ''}".lower().replace("-", " ")
    return all(word.replace("-", " ") in text for word in words)


def _line(job: JobSummary, stands: Stands | None, now: datetime, *, wide: bool) -> Content:
    full = f"demo: {job.title}" if job.scenario else job.title
    # Two jobs on one demo have the same title.
    title = f"{job.id:2}  {cut(full, 29 if wide else 26)}"
    if job.trouble:
        return Content.assemble((f"{title}  ", "bold"), (f"! {job.trouble}", "italic"))
    symptom = (job.symptom or "").replace("-", " ")
    taken = f"{job.readings} reading{'' if job.readings == 1 else 's'}"
    told = (_after_repair(job, stands) if job.repairs else symptom).ljust(17)
    last = f"{cut(_last(job), _LAST)}  " if wide else ""
    return Content.assemble((f"{title}  ", "bold"), told, f"{taken:13}{last}{_ago(job.updated, now)}")


def _after_repair(job: JobSummary, stands: Stands | None) -> str:
    """How a repaired job stands or what it waits for, in the room that a symptom takes; `stands` is None until it is
    known.
    """
    match stands, job.follow_up:
        case "did-not-help", _:
            return "did not help"
        case _, "failed-again":
            return "failed again"
        case "fault-left", _:
            return "another fault"
        case _, "counting":
            return f"{job.starts_left} starts to go"
        case _, "uncounted":
            return "count its starts"
        case "proved", _:
            return "proved"
        case None, _:
            return "repaired"
        case _:
            return "not proved yet"


def _last(job: JobSummary) -> str:
    """The last reading that stands, with both points of it."""
    if job.last_reading is None:
        return ""
    taken = job.last_reading.taken
    value = "open" if isinstance(taken.value, str) else (show_amps if taken.clamp else show_volts)(taken.value)
    room = _LAST - len(value) - 1
    red, black, clamp = ((name or "").replace("-", " ") for name in (taken.red, taken.black, taken.clamp))
    return f"{value} {shortened(clamp, room) if clamp else two_in(red, black, room)}"


def _ago(then: datetime, now: datetime) -> str:
    minutes = (now - then).total_seconds() / 60
    if minutes < 1:
        return "just now"
    if minutes < 60:
        return f"{minutes:.0f} min ago"
    if minutes < 48 * 60:
        return f"{minutes / 60:.0f} h ago"
    return then.astimezone().strftime("%Y-%m-%d")
