"""The job screen: its keys, and the short visits that they lead to."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.worker import get_current_worker

from wizard.files.settings import Layout, Way
from wizard.quantities import LONG_TEXT_MOST, capitalised, typed_text
from wizard.ui.ask_text import AskText
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.entry import ReadingEntry
from wizard.ui.own_reading import ask_span
from wizard.ui.part_page import part_text
from wizard.ui.pick import Item, Pick
from wizard.ui.readings_page import where_read
from wizard.ui.repairing import Repairing
from wizard.ui.run_view import RunView
from wizard.ui.step_card import step_of, title_of
from wizard.ui.visit import Page
from wizard.ui.why_page import lesson_text, why_text
from wizard.walk.drawing import short_name
from wizard.walk.events import CautionsRead, Described, Event, Jumped, Noted, Renamed

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from wizard.record.session import Session
    from wizard.ui.bench import Bench
    from wizard.ui.intake import Intake
    from wizard.walk.assessment import Assessment
    from wizard.walk.shifts import Shift
    from wizard.walk.state import Reading

_STATUS = {"done": "=", "here": ">", "ahead": " ", "jumped-over": "-", "not-needed": "."}


class JobScreen(Repairing):
    """One job at work."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("enter", "go_on", show=False),
        Binding("j", "jump", show=False),
        Binding("m", "own_reading", show=False),
        Binding("r", "readings", show=False),
        Binding("u", "take_back", show=False),
        Binding("w", "why", show=False),
        Binding("l", "lesson", show=False),
        Binding("c", "cautions", show=False),
        Binding("t", "crank", show=False),
        Binding("b", "plan", show=False),
        Binding("d", "demo_meter", show=False),
        Binding("x", "out_of_reach", show=False),
        Binding("n", "note", show=False),
        Binding("e", "complaint", show=False),
        Binding("k", "same_crank", show=False),
        Binding("a", "fails_now", show=False),
        Binding("p", "part", show=False),
        Binding("v", "volts", show=False),
        Binding("h", "odds", show=False),
        Binding("g", "words", show=False),
        Binding("s", "settings", show=False),
        Binding("question_mark", "help", show=False),
        Binding("up", "point(-1)", show=False),
        Binding("down", "point(1)", show=False),
        Binding("pageup", "scroll_run(-8)", show=False),
        Binding("pagedown", "scroll_run(8)", show=False),
    ]

    def __init__(self, session: Session, now: Callable[[], datetime], bench: Bench | None = None) -> None:
        super().__init__(session, now, bench)
        # The step whose cautions came up last by themselves. Those of the start wait until the job is begun.
        self._opened_at: str | None = session.desk.flow.start

    def begin(self) -> None:
        """Say which way of working a new job has."""
        if self.plan is Way.FASTEST:
            self.say("You work by the best next test, as you chose before. b changes to the walk, step by step.")
        else:
            self.say("You follow the walk, step by step. b changes to the best next test; the choice is remembered.")

        self._opened_at = None
        self.then(self._open_cautions)

    def answered(self, answer: Assessment | str) -> None:
        super().answered(answer)
        self._open_cautions()

    def _open_cautions(self) -> None:
        """Cautions that come next are opened at once, and once: nothing can be done before them."""
        step = self.assessment.next if self.assessment else None
        if step is None or step.kind != "caution":
            self._opened_at = None
        elif self.is_current and step.step != self._opened_at:
            self._opened_at = step.step
            self.action_go_on()

    def action_go_on(self) -> None:
        step = self.assessment.next if self.assessment else None
        if step is None or self.working or self.target is not None:
            return
        if step.kind == "caution":
            self._confirm_step(step.cautions or [])
        elif step.kind in ("repair", "finish"):
            self.action_finding()
        else:
            self.list_answers()

    def _confirm_step(self, names: list[str]) -> None:
        def confirmed(yes: bool | None) -> None:
            if yes:
                self.record(CautionsRead(cautions=names))

        self.app.push_screen(CautionsPage(self.session.desk.cautions, names, confirm=True), confirmed)

    # Jumping and pointing

    def action_jump(self) -> None:
        """Every step as a map of the walk, then every reading, point and part."""
        if self.assessment is None:
            return
        from wizard.walk.walker import walk_steps

        chart = self.session.desk.circuit.map
        steps = walk_steps(self.session.desk, self.session.state, self.assessment)
        items = [Item(f"step {s.name}", f"{_STATUS[s.status]} {s.title}", short_name(s.status)) for s in steps]
        items += [
            Item(f"reading {r.id}", f"  Reading {r.id}, {where_read(r)}", "reading") for r in self.assessment.readings
        ]
        items += [Item(f"part {name}", f"  {part.label}", "part") for name, part in chart.parts.items()]
        items += [Item(f"point {name}", f"  {point.label}", "point") for name, point in chart.points.items()]
        here = next((f"step {step.name}" for step in steps if step.status == "here"), "")
        self.app.push_screen(Pick("Jump to a step, reading, part or point", items, here=here), self._jumped)

    def _jumped(self, ids: tuple[str, ...] | None) -> None:
        if not ids:
            return
        what, _, name = ids[0].partition(" ")
        if what == "step":
            self.chosen = None
            if self.record(Jumped(step=name)):
                self.then(partial(self._say_jumped, name))
        elif what == "reading":
            self.action_readings(int(name))
        elif what == "part":
            self.open_part(name)
        else:
            ask_span(self.app, self.session, self.choose_target, black_on=name)

    def _say_jumped(self, name: str) -> None:
        if self.assessment is None:
            return
        there, here = self.session.desk.flow.steps[name].title, self.assessment.next
        if here.step == name and self.plan is Way.FASTEST:
            self.say("You jumped here. After this step comes the best test.")
        elif here.step == name:
            self.say("You jumped here. The walk goes on from this step.")
        elif here.kind == "caution":
            self.say(f"The cautions come first. Once they are confirmed, the walk goes on from: {there}.")
        else:
            self.say(f"There is nothing to do yet at: {there}. The walk stands where it stood.")

    def action_point(self, step: int) -> None:
        run = self.query_one(RunView)
        run.point(step)
        if run.pointed:
            self.say(f"{short_name(run.pointed)}: p opens it.")

    def action_part(self) -> None:
        """The part that is pointed at, or one by a few letters."""
        if (pointed := self.query_one(RunView).pointed) is not None:
            self.open_part(pointed)
            return
        parts = [Item(name, part.label) for name, part in self.session.desk.circuit.map.parts.items()]
        self.app.push_screen(Pick("Which part?", parts), lambda ids: self.open_part(ids[0]) if ids else None)

    def on_run_view_opened(self, event: RunView.Opened) -> None:
        self.open_part(event.part)

    def open_part(self, name: str) -> None:
        """A page about this part, once there is an answer to fill it with."""
        if self.assessment is None:
            return
        parts = self.session.desk.circuit.parts
        label = parts[name].part.label if name in parts else "starter"
        text = part_text(self.session.desk, self.assessment, name, inch=self.inch)
        self.app.push_screen(Page(capitalised(label), text))

    def action_scroll_run(self, rows: int) -> None:
        self.query_one(RunView).scroll_rows(rows)

    # Pages to read

    def action_why(self) -> None:
        if self.assessment is not None:
            heading = title_of(self.session.desk, self.assessment.next, self.target)
            text = why_text(self.session.desk, self.assessment, short=False, lessons=True)
            self.app.push_screen(Page(f"Why: {heading}", text))

    def action_lesson(self) -> None:
        step = step_of(self.session.desk, self.assessment.next) if self.assessment else None
        if step is None:
            self.say("There is no lesson for this step.")
        else:
            self.app.push_screen(Page(f"Learn: {step.title}", lesson_text(step)))

    def action_volts(self) -> None:
        if self.assessment is None:
            return
        from wizard.ui.loss_page import LossPage
        from wizard.walk.profile import loss_profile

        rows = loss_profile(self.session.desk, self.assessment)
        spoken = self.app.settings.layout is Layout.SPOKEN
        self.app.push_screen(LossPage(rows, self.assessment.readings, inch=self.inch, spoken=spoken))

    def action_odds(self) -> None:
        """The odds as they are known, at once; what each reading did to them comes as it is worked out."""
        if self.assessment is None:
            return
        from wizard.walk.shifts import latest

        readings = latest(self.session.state)
        page = Page("Suspects and reasons", self._odds_text([], readings))
        self.app.push_screen(page)
        self.run_worker(partial(self._work_out_shifts, page, readings), thread=True, exclusive=True, group="shifts")

    def _work_out_shifts(self, page: Page, readings: list[Reading]) -> None:
        from wizard.walk.shifts import odds_shifts

        worker = get_current_worker()
        shifts: list[Shift] = []
        for shift in odds_shifts(self.session.desk, self.session.state, readings):
            shifts = sorted([*shifts, shift], key=lambda one: one.reading.number)
            waited_for = [reading for reading in readings if reading.number < shifts[0].reading.number]
            if worker.is_cancelled or not self.app.call_from_thread(self._show_shifts, page, shifts, waited_for):
                return

    def _show_shifts(self, page: Page, shifts: list[Shift], waited_for: list[Reading]) -> bool:
        """Put them on the page; False once it was left, and nobody waits for the rest."""
        if page not in self.app.screen_stack:
            return False
        page.show(self._odds_text(shifts, waited_for))
        return True

    def _odds_text(self, shifts: list[Shift], waited_for: list[Reading]) -> Content:
        from wizard.ui.odds_page import odds_text

        assert self.assessment is not None
        bars = self.app.settings.layout is not Layout.SPOKEN
        return odds_text(self.assessment, shifts, pending=waited_for, bars=bars)

    def action_cautions(self) -> None:
        cautions = self.session.desk.cautions
        self.app.push_screen(CautionsPage(cautions, list(cautions.cautions), confirm=False))

    def action_words(self) -> None:
        self.app.show_glossary()

    def action_settings(self) -> None:
        plan, meter = self.app.settings.plan, self.app.settings.meter

        def left(_: bool | None) -> None:
            if self.app.settings.meter != meter:
                self.session.use_meter(self.app.settings.meter)
            if (self.app.settings.plan, self.app.settings.meter) != (plan, meter):
                self.work_out()

        self.app.show_settings(left)

    def action_help(self) -> None:
        self.app.action_help_here()

    # The job itself

    def action_plan(self) -> None:
        plan = Way.FASTEST if self.plan is Way.WALK else Way.WALK
        self.app.change_settings(plan=plan)
        self.chosen = None
        jumped = self.session.state.jumped_to
        if jumped is not None and self.assessment is not None and self.assessment.next.step == jumped:
            after = "the best test" if plan is Way.FASTEST else "the walk, step by step"
            self.say(f"This is the step you jumped to, and it stays. After it comes {after}; u takes the jump back.")
        elif plan is Way.FASTEST:
            self.say("Best test: the reading that tells most per minute. It is remembered for the next job.")
        else:
            self.say("Back on the walk, step by step. It is remembered for the next job.")
        self.work_out()

    def action_note(self) -> None:
        def given(text: str | None) -> None:
            if text and self.record(Noted(text=text)):
                self.say(f"Noted: {text}")

        check = partial(typed_text, most=LONG_TEXT_MOST)
        self.app.push_screen(AskText("Note for the record", "What you saw, heard or did.", "", check), given)

    def action_complaint(self) -> None:
        from wizard.ui.intake import Intake, IntakeScreen

        state = self.session.state
        if state.complaint is None:
            return

        def changed(intake: Intake | None) -> None:
            if intake is None:
                return
            events: list[Event] = []
            if intake.title != state.title:
                events.append(Renamed(title=intake.title))
            if intake.complaint != state.complaint:
                events.append(Described(complaint=intake.complaint))
            if events and self.record(*events):
                self.say("What you changed holds from here on.")

        self.app.push_screen(
            IntakeScreen(Intake(state.title, state.complaint), new=False, measured=bool(state.readings)), changed
        )

    def action_leave(self) -> None:
        """One step back at a time: the typed value, the chosen reading, then home. The record is on disk."""
        entry = self.query_one(ReadingEntry)
        if entry.value and not entry.disabled:
            entry.value = ""
            self.say("")
        elif self.chosen is not None:
            self.chosen = None
            self.show()
        else:
            self.dismiss(None)
