"""The job screen: what to do now, and where the volts are going."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import get_current_worker

from wizard.errors import DropwalkError
from wizard.quantities import show_volts
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.confirm import Confirm
from wizard.ui.crank import CrankTimer, clock, rest_left_s
from wizard.ui.entry import ReadingEntry
from wizard.ui.finding_page import FindingPage
from wizard.ui.help_page import JOB_HELP
from wizard.ui.keybar import Key, KeyBar
from wizard.ui.own_reading import ask_span
from wizard.ui.pick import Item, Pick
from wizard.ui.reading_text import read_typed
from wizard.ui.readings_page import Deed, ReadingsPage, latest_readings
from wizard.ui.run_view import RunView
from wizard.ui.step_card import StepCard, card, choices, step_of, title_of
from wizard.ui.strip import Strip
from wizard.ui.suspects_view import SuspectsView
from wizard.ui.target import Target
from wizard.ui.telling import judged, show_value, undone, where
from wizard.ui.visit import Page
from wizard.ui.why_page import lesson_text, why_text
from wizard.walk.assessment import Assessment
from wizard.walk.drawing import Leads, draw, posts, short_name
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Cranked,
    Event,
    Jumped,
    Noted,
    OutOfReach,
    ReadingStruck,
    Repaired,
)

if TYPE_CHECKING:
    from wizard.record.session import Session
    from wizard.ui.bench import Bench

Plan = Literal["walk", "fastest"]
_PLAN = {"walk": "the walk", "fastest": "best test"}


class JobScreen(Screen[None]):
    """Shows one session's assessment and records what the user does; it decides nothing."""

    DEFAULT_CSS = """
    JobScreen #work { height: 1fr; }
    JobScreen #now { height: auto; }
    JobScreen #entry-line { height: 1; padding: 0 1; }
    JobScreen #entry-label { width: 9; text-style: bold; }
    JobScreen #unit { width: 1fr; color: $secondary; padding-left: 1; }
    JobScreen #said { height: 1; padding: 0 1; }
    JobScreen SuspectsView { height: 2; }
    JobScreen #taken, JobScreen #reason { display: none; padding: 0 1; }
    JobScreen.-roomy #work { layout: horizontal; }
    JobScreen.-roomy #now { width: 37%; min-width: 44; max-width: 64; height: 1fr; dock: right; }
    JobScreen.-roomy StepCard { height: 12; }
    JobScreen.-roomy #said { height: 3; }
    JobScreen.-roomy SuspectsView { height: 7; }
    JobScreen.-roomy #taken { display: block; height: 6; }
    JobScreen.-roomy #reason { display: block; height: 1fr; }
    """
    HORIZONTAL_BREAKPOINTS = [(0, "-tight"), (118, "-roomy")]
    AUTO_FOCUS = ""
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
        Binding("f", "finding", show=False),
        Binding("b", "plan", show=False),
        Binding("d", "demo_meter", show=False),
        Binding("x", "out_of_reach", show=False),
        Binding("n", "note", show=False),
        Binding("e", "complaint", show=False),
        Binding("question_mark", "help", show=False),
        Binding("up", "scroll_run(-1)", show=False),
        Binding("down", "scroll_run(1)", show=False),
        Binding("pageup", "scroll_run(-8)", show=False),
        Binding("pagedown", "scroll_run(8)", show=False),
        *(Binding(str(number), f"choose({number})", show=False) for number in range(1, 10)),
    ]

    def __init__(self, session: Session, now: Callable[[], datetime], bench: Bench | None = None) -> None:
        super().__init__()
        self.session = session
        self.now = now
        self.bench = bench
        self.plan: Plan = "walk"
        self.assessment: Assessment | None = None
        self.chosen: Target | None = None
        self.working = False
        self._after_work: Callable[[], None] | None = None

    def compose(self) -> ComposeResult:
        yield Strip()
        with Vertical(id="work"):
            with Vertical(id="now"):
                yield StepCard()
                with Horizontal(id="entry-line"):
                    yield Static("Reading", id="entry-label")
                    yield ReadingEntry()
                    yield Static("", id="unit", markup=False)
                yield Static("", id="said", markup=False)
                yield SuspectsView()
                yield Static("", id="taken", markup=False)
                yield Static("", id="reason", markup=False)
            yield RunView()
        yield KeyBar(self._keys())

    def on_mount(self) -> None:
        self.set_interval(1.0, self._show_strip)
        self.query_one("#entry-line").visible = False
        self._show_strip()
        self.query_one(RunView).show(draw(self.session.desk.circuit, None, Leads()))
        self.work_out()

    def on_resize(self) -> None:
        self.call_after_refresh(self._show)

    # What is shown

    @property
    def target(self) -> Target | None:
        """What the meter is to be put on now; None at a step that does not measure."""
        if self.chosen is not None:
            return self.chosen
        return Target.of(self.assessment.next) if self.assessment else None

    def work_out(self) -> None:
        """Have the answer worked out beside the screen; the old one stays until the new one is there."""
        self.working = True
        self._show_strip()
        self.run_worker(partial(self._assess, self.plan), thread=True, exclusive=True, group="assess")

    def _assess(self, plan: Plan) -> None:
        worker = get_current_worker()
        try:
            answer: Assessment | str = self.session.assess(plan)
        except DropwalkError as error:
            answer = str(error)
        except Exception as error:
            # The job must stay open for taking back whatever brought this on; the record itself is sound.
            answer = f"this could not be worked out ({type(error).__name__}: {error}); u takes the last one back"
        if not worker.is_cancelled:
            self.app.call_from_thread(self._answered, answer)

    def _answered(self, answer: Assessment | str) -> None:
        self.working = False
        if isinstance(answer, str):
            self.say(f"! {answer}")
        else:
            self.assessment = answer
        self._show()
        if (waiting := self._after_work) is not None:
            self._after_work = None
            waiting()

    def _show(self) -> None:
        if (assessment := self.assessment) is None or not self.is_attached:
            return
        desk, target = self.session.desk, self.target
        self._show_strip()
        self.query_one(StepCard).show(card(desk, assessment.next, target))
        self.query_one("#entry-line").visible = target is not None
        entry = self.query_one(ReadingEntry)
        entry.disabled = target is None
        if target is not None:
            clamp = target.clamp is not None
            self.query_one("#unit", Static).update("A" if clamp else "V, or open")
            entry.focus()
        self.query_one(SuspectsView).show(assessment)
        self.query_one("#taken", Static).update(latest_readings(assessment.readings, self.query_one("#taken").size))
        self.query_one("#reason", Static).update(why_text(desk, assessment, short=True))
        leads = target.leads if target is not None else Leads()
        self.query_one(RunView).show(draw(desk.circuit, assessment, leads))
        self.query_one(KeyBar).show(self._keys())

    def _show_strip(self) -> None:
        state, desk = self.session.state, self.session.desk
        air_c = state.complaint.air if state.complaint else 20.0
        vehicle = f"{desk.circuit.map.circuit}  {desk.circuit.system_v:g} V  {air_c:.0f} C"
        volts = [
            f"{show_volts(reading.volts)} {name}"
            for name, reading in posts(desk.circuit, self.assessment).items()
            if reading.volts is not None
        ]
        about = "  ".join([vehicle, *volts] if self.size.width >= 110 or not volts else volts)
        rest_s = self._rest_s()
        now = f"cranks {state.cranks}" if state.cranks else ""
        if state.cranks and self.size.width >= 110:
            now += f", last {clock(self._since_crank_s())} ago"
        if rest_s > 0:
            now = f"rest {clock(rest_s)}"
        now = "working it out" if self.working else f"{now}  {_PLAN[self.plan]}".strip()
        self.query_one(Strip).show(state.title, about, now, alarm=rest_s > 0 and not self.working)

    def _keys(self) -> list[Key]:
        step = self.assessment.next if self.assessment else None
        keys: list[Key] = []
        if self.target is not None:
            keys = [("Enter", "take it"), *([("d", "meter")] if self.bench else []), ("t", "time crank")]
        elif step is not None and step.kind == "ask":
            keys = [("1-9", "answer"), *([("d", "look")] if self.bench else [])]
        elif step is not None:
            keys = [("Enter", "go on")]
        keys += [("j", "jump"), ("w", "why"), ("c", "cautions"), ("f", "finding")]
        keys += [("b", "best test" if self.plan == "walk" else "the walk"), ("u", "take back"), ("r", "readings")]
        keys += [("m", "other"), *([("x", "can't reach")] if self.target else [])]
        keys += [("l", "learn"), ("n", "note"), ("e", "complaint")]
        return [*keys, ("?", "help"), ("Esc", "home" if self.chosen is None else "the step")]

    def say(self, text: str | Content) -> None:
        """Put one line where the answer to the last deed is looked for."""
        self.query_one("#said", Static).update(text)

    # What is recorded

    def record(self, *events: Event) -> bool:
        """On disk first, then on screen. False, with the reason said, when it is refused."""
        try:
            for event in events:
                self.session.record(event)
        except DropwalkError as error:
            self.say(f"! {error}")
            return False
        self.work_out()
        return True

    def _with_cautions(self, deeds: list[str], do: Callable[[], None]) -> None:
        """Do it once the cautions that it carries have been confirmed in this job."""
        desk = self.session.desk
        read = self.session.state.cautions_read
        unread = [name for name in desk.cautions.for_deed(*deeds) if name not in read]
        if not unread:
            do()
            return

        def confirmed(yes: bool | None) -> None:
            if yes and self.record(CautionsRead(cautions=unread)):
                do()
            elif not yes:
                self.say("Nothing was recorded: the cautions come first.")

        self.app.push_screen(CautionsPage(desk.cautions, unread, confirm=True), confirmed)

    def on_reading_entry_entered(self, event: ReadingEntry.Entered) -> None:
        target = self.target
        if target is None:
            return
        if self.working:
            self.say("Still working out the last one; press Enter again.")
            return
        self._take(event.text, target)

    def _take(self, text: str, target: Target, *, instead_of: int | None = None) -> None:
        try:
            typed = read_typed(text, self.session.desk.circuit.system_v, clamp=target.clamp is not None)
        except ValueError as error:
            self.say(f"! {error}.")
            return

        def take(yes: bool | None = True) -> None:
            if yes:
                deeds = target.deeds(self.session.desk.circuit.map)
                self._with_cautions(deeds, partial(self._record_reading, target, typed.value, instead_of))

        if typed.question:
            self.app.push_screen(Confirm("Before it is recorded", typed.question, "take it so", "change it"), take)
        else:
            take()

    def _record_reading(self, target: Target, value: float | Literal["open"], instead_of: int | None) -> None:
        struck: list[Event] = [] if instead_of is None else [ReadingStruck(reading=instead_of, why="corrected")]
        if not self.record(*struck, target.reading(value)):
            return
        self.chosen = None
        self.query_one(ReadingEntry).value = ""
        shown = show_value(value, clamp=target.clamp is not None)
        self.say(Content.assemble(("Taken: ", ""), (shown, "bold"), f"  {where(target)}"))
        number = len(self.session.state.readings)
        self._then(partial(self._say_judged, number))

    def _say_judged(self, number: int) -> None:
        for reading in self.assessment.readings if self.assessment else []:
            if self.assessment and reading.id == number:
                self.say(judged(reading, self.assessment))

    def _then(self, do: Callable[[], None]) -> None:
        """Do this with the fresh answer, now or as soon as it is there."""
        if self.working:
            self._after_work = do
        else:
            do()

    # Keys

    def action_go_on(self) -> None:
        step = self.assessment.next if self.assessment else None
        if step is None or self.working or self.target is not None:
            return
        if step.kind == "caution":
            names = [name for name in step.cautions or [] if name not in self.session.state.cautions_read]
            self._confirm_step(names)
        elif step.kind in ("repair", "finish"):
            self.action_finding()
        elif step.kind == "ask":
            self.say(f"Press the number of your answer, 1 to {len(step.choices or [])}.")

    def _confirm_step(self, names: list[str]) -> None:
        def confirmed(yes: bool | None) -> None:
            if yes:
                self.record(CautionsRead(cautions=names))

        self.app.push_screen(CautionsPage(self.session.desk.cautions, names, confirm=True), confirmed)

    def action_choose(self, number: int) -> None:
        step = self.assessment.next if self.assessment else None
        if step is None or step.kind != "ask" or self.working or self.chosen is not None:
            return
        offered = choices(self.session.desk, step)
        if number <= len(offered) and step.step is not None:
            self._answer(step.step, *offered[number - 1])

    def _answer(self, step: str, choice: str, label: str) -> None:
        text = self.session.desk.flow.steps[step]
        deeds = ["cranking"] if text.field == "symptom" else []

        def record() -> None:
            if self.record(Answered(step=step, choice=choice)):
                self.say(f"Answered: {label}")

        self._with_cautions(deeds, record) if deeds else record()

    def action_demo_meter(self) -> None:
        if self.bench is None:
            self.say("This is a real job: the meter is in your hand. The demo has a simulated one.")
            return
        self._then(self._use_bench)

    def _use_bench(self) -> None:
        bench, step, target = self.bench, self.assessment.next if self.assessment else None, self.target
        if bench is None or step is None:
            return
        if target is not None:
            desk = self.session.desk
            self._with_cautions(target.deeds(desk.circuit.map), partial(self._fill_in, bench, target))
        elif step.kind == "ask" and step.step is not None:
            choice = bench.answer(step.step)
            labels = dict(choices(self.session.desk, step))
            if choice in labels:
                self._answer(step.step, choice, labels[choice])

    def _fill_in(self, bench: Bench, target: Target) -> None:
        entry = self.query_one(ReadingEntry)
        entry.value = bench.read(target)
        entry.cursor_position = len(entry.value)
        self.say("The simulated meter shows this. Enter takes it.")

    def action_jump(self) -> None:
        if self.assessment is None:
            return
        from wizard.walk.walker import walk_steps

        steps = walk_steps(self.session.desk, self.session.state, self.assessment)
        items = [Item(step.name, f"{_STATUS[step.status]} {step.title}", short_name(step.status)) for step in steps]
        here = next((step.name for step in steps if step.status == "here"), "")

        def picked(ids: tuple[str, ...] | None) -> None:
            if ids:
                self.chosen = None
                self.record(Jumped(step=ids[0]))
                self.say("You jumped here. The walk goes on from this step.")

        self.app.push_screen(Pick("Jump to a step", items, here=here), picked)

    def action_own_reading(self) -> None:
        ask_span(self.app, self.session.desk, self._own)

    def _own(self, target: Target) -> None:
        self.chosen = target
        self.query_one(ReadingEntry).value = ""
        self.say("")
        self._show()

    def action_readings(self) -> None:
        readings = self.assessment.readings if self.assessment else []
        self.app.push_screen(ReadingsPage(readings), self._reading_deed)

    def _reading_deed(self, deed: Deed | None) -> None:
        if deed is None:
            return
        what, number = deed
        taken = next(r.taken for r in self.session.state.readings if r.number == number)
        target = Target(taken.state, taken.red, taken.black, taken.clamp, chosen=True)
        if what == "strike":
            if self.record(ReadingStruck(reading=number)):
                self.say(f"Reading {number} is taken back. It stays in the record and counts for nothing.")
        elif what == "again":
            self._own(target)
        else:
            self._correct(number, target, str(taken.value))

    def _correct(self, number: int, target: Target, was: str) -> None:
        from wizard.ui.ask_text import AskText

        system_v = self.session.desk.circuit.system_v

        def given(text: str | None) -> None:
            if text is not None:
                self._take(text, target, instead_of=number)

        self.app.push_screen(
            AskText(
                f"Correct reading {number}",
                f"{where(target)}. The first value stays in the record, struck out.",
                was,
                lambda text: read_typed(text, system_v, clamp=target.clamp is not None),
            ),
            given,
        )

    def action_take_back(self) -> None:
        try:
            event = self.session.take_back()
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        self.say(f"Taken back: {undone(event)}." if event else "There is nothing to take back since the last repair.")
        self.work_out()

    def action_why(self) -> None:
        if self.assessment is not None:
            heading = title_of(self.session.desk, self.assessment.next, self.target)
            self.app.push_screen(Page(f"Why: {heading}", why_text(self.session.desk, self.assessment, short=False)))

    def action_lesson(self) -> None:
        step = step_of(self.session.desk, self.assessment.next) if self.assessment else None
        if step is None:
            self.say("There is no lesson for this step.")
        else:
            self.app.push_screen(Page(f"Learn: {step.title}", lesson_text(step)))

    def action_cautions(self) -> None:
        cautions = self.session.desk.cautions
        self.app.push_screen(CautionsPage(cautions, list(cautions.cautions), confirm=False))

    def action_crank(self) -> None:
        def timed(seconds: float | None) -> None:
            if seconds:
                self.record(Cranked(seconds=round(min(seconds, 3600.0), 1)))
                rest = self._rest_s()
                advice = f"! Let the starter rest {clock(rest)}." if rest else "Type what the meter showed."
                self.say(f"Cranked {seconds:.0f} s. {advice}")

        def start() -> None:
            self.app.push_screen(CrankTimer(self.now, self._rest_s()), timed)

        self._with_cautions(["cranking"], start)

    def _rest_s(self) -> float:
        cranks = [(entry.at, entry.event.seconds) for entry in self.session.log if isinstance(entry.event, Cranked)]
        return rest_left_s(cranks, self.now())

    def _since_crank_s(self) -> float:
        ended = max(entry.at for entry in self.session.log if isinstance(entry.event, Cranked))
        return (self.now() - ended).total_seconds()

    def action_finding(self) -> None:
        if self.assessment is None:
            return
        assessment = self.assessment
        repair = assessment.next.repair or (assessment.finding.repair if assessment.finding else None)
        can_repair = repair is not None and repair != "no-repair" and assessment.next.kind == "repair"

        def answered(done: bool | None) -> None:
            if done and repair is not None:
                kind = self.session.desk.circuit.repairs[repair].kind
                self._with_cautions([str(kind)], partial(self._repaired, repair))

        self.app.push_screen(FindingPage(self.session.desk, assessment, can_repair=can_repair), answered)

    def _repaired(self, repair: str) -> None:
        if self.record(Repaired(repair=repair)):
            if self.bench is not None:
                self.bench.repair(repair)
            self.say("Repair recorded. Now prove it: the same spans, under the same load.")

    def action_plan(self) -> None:
        self.plan = "fastest" if self.plan == "walk" else "walk"
        self.chosen = None
        self.say(
            "Best test: the reading that tells most per minute." if self.plan == "fastest" else "Back on the walk."
        )
        self.work_out()

    def action_out_of_reach(self) -> None:
        target, reach = self.target, self.session.state.out_of_reach
        points = self.session.desk.circuit.map.points
        names = [name for name in (target.red, target.black) if name] if target else []
        items = [Item(name, f"Can't reach: {points[name].label}") for name in names if name not in reach]
        items += [Item(name, f"Can reach it again: {points[name].label}") for name in sorted(reach)]
        if not items:
            self.say("No lead is placed at this step.")
            return

        def picked(ids: tuple[str, ...] | None) -> None:
            if ids:
                self.chosen = None
                self.record(OutOfReach(point=ids[0], reachable=ids[0] in reach))

        self.app.push_screen(Pick("Which point?", items), picked)

    def action_note(self) -> None:
        from wizard.quantities import plain_text
        from wizard.ui.ask_text import AskText

        def given(text: str | None) -> None:
            if text and self.record(Noted(text=text)):
                self.say("Noted.")

        self.app.push_screen(AskText("Note for the record", "What you saw, heard or did.", "", plain_text), given)

    def action_complaint(self) -> None:
        from wizard.ui.intake import Intake, IntakeScreen
        from wizard.walk.events import Described, Renamed

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
            if events:
                self.record(*events)

        self.app.push_screen(
            IntakeScreen(Intake(state.title, state.complaint), new=False, measured=bool(state.readings)), changed
        )

    def action_help(self) -> None:
        self.app.push_screen(Page("Keys on this screen", JOB_HELP))

    def action_scroll_run(self, rows: int) -> None:
        self.query_one(RunView).scroll_rows(rows)

    def action_leave(self) -> None:
        """One step back at a time: the typed value, the chosen reading, then home. The record is on disk."""
        entry = self.query_one(ReadingEntry)
        if entry.value and not entry.disabled:
            entry.value = ""
        elif self.chosen is not None:
            self.chosen = None
            self._show()
        else:
            self.dismiss(None)


_STATUS = {"done": "=", "here": ">", "ahead": " ", "jumped-over": "-"}
