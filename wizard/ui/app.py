"""The screens as one application."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType

from wizard.errors import DropwalkError
from wizard.files.settings import Layout, Light, Settings, read_settings, settings_path, write_settings
from wizard.record.store import Store
from wizard.ui.home import HomeScreen
from wizard.ui.lone_key import LoneKeys, TakesLetters
from wizard.ui.theme import GRAPHITE, PAPER
from wizard.ui.visit import Visit

if TYPE_CHECKING:
    from wizard.lab.scenario import Scenario
    from wizard.record.session import Session
    from wizard.ui.bench import Bench
    from wizard.ui.intake import Intake
    from wizard.ui.job import JobScreen
    from wizard.walk.desk import Desk

_PRESS_D = "Press d whenever a reading or an answer is wanted: the simulated vehicle gives it."


class DropwalkApp(App[None]):
    """Home, intake and job. What a screen needs beyond home is imported when it is first opened."""

    TITLE = "dropwalk"
    ENABLE_COMMAND_PALETTE = False
    CSS = """
    OptionList > .option-list--option-highlighted, OptionList:focus > .option-list--option-highlighted {
        color: $background; background: $foreground; text-style: bold;
    }
    Input > .input--placeholder, Input:focus > .input--placeholder { color: $secondary; text-opacity: 100%; }
    App.-spoken VerticalScroll, App.-spoken OptionList { scrollbar-size-vertical: 0; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+t", "light", show=False),
        Binding("f1", "help_here", show=False, priority=True),
        Binding("f2", "jump", show=False, priority=True),
    ]

    def __init__(
        self,
        store: Store,
        scenario: str | None = None,
        settings: Settings | None = None,
        settings_file: Path | None = None,
    ) -> None:
        """Without a `settings_file`, changed settings last until the screens are left."""
        super().__init__()
        self.store = store
        self.settings = settings or Settings(tour_seen=True)
        self._settings_file = settings_file
        self._scenario = scenario
        # What was put in for a new job that has not been begun.
        self.draft: Intake | None = None
        self.lone_keys = LoneKeys(self, super().on_event)

    async def on_event(self, event: events.Event) -> None:
        """A job's letters are commands only when they come one at a time."""
        screen = self.screen_stack[-1] if self.screen_stack else None
        key = event if isinstance(event, events.Key) and not event.is_forwarded else None
        if key is not None and isinstance(screen, TakesLetters) and not screen.types(key):
            text = await self.lone_keys.takes(key)
            if text:
                screen.take_as_text(text)
            if text is not None:
                return
        await super().on_event(event)

    def now(self) -> datetime:
        """The time, UTC."""
        return datetime.now(UTC)

    def on_mount(self) -> None:
        self.register_theme(GRAPHITE)
        self.register_theme(PAPER)
        self._wear()
        self.push_screen(HomeScreen())
        if self._scenario is not None:
            # Home must be on screen before anything can be said on it.
            self.call_after_refresh(self.start_demo, self._scenario)
        elif not self.settings.tour_seen:
            self.call_after_refresh(self.show_tour)

    def change_settings(self, **fields: object) -> None:
        """Put these settings into force and keep them."""
        self.settings = self.settings.model_copy(update=fields)
        self._wear()
        if self._settings_file is None:
            return
        try:
            write_settings(self._settings_file, self.settings)
        except DropwalkError as error:
            self.notify(f"! {error}", markup=False, severity="warning")

    def _wear(self) -> None:
        self.theme = GRAPHITE.name if self.settings.light is Light.DARK else PAPER.name
        for layout in Layout:
            self.set_class(self.settings.layout is layout, f"-{layout}")

    def action_light(self) -> None:
        self.change_settings(light=Light.LIGHT if self.settings.light is Light.DARK else Light.DARK)

    def action_press(self, key: str) -> None:
        """The key that was clicked in a line of keys."""
        self.simulate_key(key)

    def action_help_here(self) -> None:
        from wizard.ui.help_page import HelpPage

        if not isinstance(self.screen, HelpPage):
            self.push_screen(HelpPage(self.screen))

    def action_jump(self) -> None:
        """Back to the job, whatever lies over it, and to its list of everything."""
        from wizard.ui.job import JobScreen

        job = next((screen for screen in self.screen_stack if isinstance(screen, JobScreen)), None)
        if job is None:
            return
        over = self.screen_stack[self.screen_stack.index(job) + 1 :]
        # The intake would lose what was put in.
        if not all(isinstance(screen, Visit) for screen in over):
            return
        for _ in over:
            self.pop_screen()
        job.action_jump()

    def show_tour(self) -> None:
        """The minute that shows a newcomer around."""
        from wizard.ui.tour import Tour

        self.push_screen(Tour(), lambda _: self.change_settings(tour_seen=True))

    def show_settings(self, left: Callable[[bool | None], None]) -> None:
        """How the screens are to be; `left` is called when the page is left."""
        from wizard.ui.settings_page import SettingsPage

        self.push_screen(SettingsPage(), left)

    def show_glossary(self) -> None:
        """The trade's words."""
        from wizard.files import shelf
        from wizard.ui.glossary_page import GlossaryPage

        self.push_screen(GlossaryPage(shelf.glossary()))

    def open_job(self, job_id: int, *, starts: bool = False) -> None:
        """Go on with a job where it was left, or with counting its starts."""
        from wizard.record.session import Session

        try:
            session = Session.open(self.store, job_id, self.now)
            desk = session.desk
            bench = self._bench(session, desk) if session.state.scenario else None
        except DropwalkError as error:
            self._say(f"! {error}")
            return
        job = self._show_job(session, bench)
        if starts:
            job.action_starts()

    def new_job(self) -> None:
        """Take a complaint, then begin."""
        from wizard.files import shelf
        from wizard.ui.intake import Intake, IntakeScreen
        from wizard.walk.events import Complaint

        blank = Intake("", Complaint.model_validate({"circuit": shelf.circuit_names()[0]}))
        self.push_screen(IntakeScreen(self.draft or blank, new=True, blank=blank), self._begin)

    def _begin(self, intake: Intake | None) -> None:
        from wizard.record.session import Session

        if intake is None:
            return
        try:
            session = Session.create(self.store, intake.title, intake.complaint, now=self.now)
        except DropwalkError as error:
            self._say(f"! {error}")
            return
        self.draft = None
        job = self._show_job(session, None)
        self.call_after_refresh(job.begin)

    def choose_demo(self) -> None:
        """Pick one of the made-up vehicles."""
        from wizard.ui.demos import demo_items
        from wizard.ui.pick import Pick

        self.push_screen(
            Pick("Which made-up vehicle?", demo_items()), lambda ids: self.start_demo(ids[0]) if ids else None
        )

    def choose_exercise(self) -> None:
        """Pick an exercise of the lab and play it; attempts and hand-ins are kept beside the jobs."""
        from wizard.ui.lab_choice import LabChoice

        LabChoice(self, self.store.path.parent / "lab", self._say).ask()

    def start_demo(self, name: str) -> None:
        """A new job on a made-up vehicle, its story first."""
        from wizard.record.session import Session
        from wizard.ui.demos import demo
        from wizard.ui.story import Story

        try:
            scenario, _ = demo(name)
            session = Session.create(
                self.store,
                scenario.title,
                scenario.complaint(),
                flow=scenario.flow,
                scenario=name,
                now=self.now,
            )
            bench = self._bench(session, session.desk, scenario)
        except DropwalkError as error:
            self._say(f"! {error}")
            return
        job = self._show_job(session, bench)
        story = Story(scenario.title, f"{scenario.story.strip()}\n\n{_PRESS_D}")
        self.push_screen(story, lambda _: job.begin())

    def _bench(self, session: Session, desk: Desk, scenario: Scenario | None = None) -> Bench:
        from wizard.ui.bench import Bench
        from wizard.ui.demos import demo

        scenario = scenario or demo(session.state.scenario or "")[0]
        return Bench(scenario, desk, session.state.repairs, seed=session.job_id * 1000 + session.seq)

    def _show_job(self, session: Session, bench: Bench | None) -> JobScreen:
        from wizard.ui.job import JobScreen

        session.use_meter(self.settings.meter)
        job = JobScreen(session, self.now, bench)
        if (home := self._home()) is not None:
            home.opened(session.job_id)
        self.push_screen(job)
        return job

    def show_about(self) -> None:
        """What this is, what it does not know, and every caution."""
        from wizard.files import shelf
        from wizard.ui.cautions_page import cautions_text
        from wizard.ui.help_page import ABOUT
        from wizard.ui.visit import Page

        cautions = shelf.cautions()
        self.push_screen(Page("About and cautions", ABOUT + "\n" + cautions_text(cautions, list(cautions.cautions))))

    def _say(self, text: str) -> None:
        if (home := self._home()) is not None:
            home.say(text)

    def _home(self) -> HomeScreen | None:
        return next((screen for screen in self.screen_stack if isinstance(screen, HomeScreen)), None)


def run_app(store_path: Path, scenario: str | None = None) -> None:
    """Run the screens until they are left, with a demo's job open when a scenario is named.

    Raises DropwalkError, before any screen is shown, when the store, the settings or the scenario can't be used.
    """
    path = settings_path()
    settings = read_settings(path)
    if scenario is not None:
        from wizard.ui.demos import demo

        demo(scenario)
    with Store(store_path) as store:
        DropwalkApp(store, scenario, settings, path).run()
