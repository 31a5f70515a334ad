"""The job screen as it looks: what to do now, and where the volts are going."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Digits, Input, Static
from textual.worker import Worker, get_current_worker

from wizard.errors import DropwalkError
from wizard.files.settings import Layout, Units, Way
from wizard.quantities import show_temperature, show_volts
from wizard.ui.crank import clock, rest_left_s
from wizard.ui.entry import ReadingEntry
from wizard.ui.fit import within
from wizard.ui.keybar import Key, KeyBar, UnderBoxes
from wizard.ui.lone_key import TakesLetters
from wizard.ui.readings_page import latest_readings
from wizard.ui.run_view import RunView
from wizard.ui.step_card import StepCard, card, choices, rest_of, step_of
from wizard.ui.strip import Strip
from wizard.ui.suspects_view import SuspectsView
from wizard.ui.target import Target
from wizard.ui.why_page import why_text
from wizard.walk.assessment import Assessment, Next
from wizard.walk.drawing import Leads, draw, posts
from wizard.walk.events import Cranked
from wizard.walk.follow_up import failures_untold

if TYPE_CHECKING:
    from wizard.record.session import Session
    from wizard.ui.app import DropwalkApp
    from wizard.ui.bench import Bench

# What a repair and an end lead to, said first there and last elsewhere.
_NOW: dict[str, list[Key]] = {
    "repair": [("z", "how it is done")],
    "finish": [("q", "report"), ("i", "starts"), ("z", "before, after")],
}
_AFTER: list[Key] = [("z", "repair"), ("i", "starts"), ("y", "labour, parts"), ("q", "report")]
# Lines that what is said may take; more of it is one key away.
_MOST_SAID, _MORE = 3, Content.assemble(("w", "bold $primary"), " shows the rest of this.")
# What start does while a reading is taken; held, the engine may turn or not.
_HELD = {"resting": "resting", "cranking": "start held"}
_WAY = {Way.WALK: "the walk", Way.FASTEST: "best test"}


class JobView(UnderBoxes[None], TakesLetters):
    """Shows one session's assessment; it decides nothing."""

    DEFAULT_CSS = """
    JobView #work { height: 1fr; }
    JobView #now { height: auto; }
    JobView #entry-line { height: 1; padding: 0 1; }
    JobView #entry-label { width: 9; text-style: bold; }
    JobView #unit { width: 1fr; color: $secondary; padding-left: 1; }
    JobView #said { height: auto; min-height: 1; max-height: 3; padding: 0 1; }
    JobView KeyBar { min-height: 2; }
    JobView #big { display: none; height: 4; padding: 1 1 0 1; color: $primary; }
    JobView SuspectsView { height: 2; }
    JobView #taken, JobView #reason { display: none; padding: 0 1; }
    JobView.-roomy #work { layout: horizontal; }
    JobView.-roomy #now { width: 37%; min-width: 44; max-width: 64; height: 1fr; dock: right; }
    JobView.-roomy StepCard { height: 12; }
    JobView.-roomy.-tall StepCard { height: 16; }
    JobView.-roomy #said { height: 3; }
    JobView.-roomy SuspectsView { height: 7; }
    JobView.-roomy #taken { display: block; height: 6; }
    JobView.-roomy #reason { display: block; height: 1fr; }

    JobView.-roomy.-tall.-spoken StepCard, JobView.-roomy.-tall.-large StepCard { height: auto; }
    JobView.-spoken #work, JobView.-large #work { layout: vertical; }
    JobView.-spoken #now, JobView.-large #now { dock: none; width: 100%; max-width: 100%; height: auto; }
    JobView.-spoken StepCard { height: auto; max-height: 10; }
    JobView.-spoken #said, JobView.-large #said { height: auto; min-height: 1; max-height: 3; }
    JobView.-spoken SuspectsView { height: 2; }
    JobView.-spoken #taken, JobView.-large #taken { display: none; }
    JobView.-spoken #reason, JobView.-large #reason { display: none; }
    JobView.-large RunView, JobView.-large SuspectsView { display: none; }
    JobView.-large #big { display: block; }
    JobView.-large StepCard { height: auto; max-height: 13; padding: 1 2; }
    """
    HORIZONTAL_BREAKPOINTS = [(0, "-tight"), (118, "-roomy")]
    VERTICAL_BREAKPOINTS = [(0, "-low"), (38, "-tall")]
    AUTO_FOCUS = ""
    app: DropwalkApp

    def __init__(self, session: Session, now: Callable[[], datetime], bench: Bench | None = None) -> None:
        super().__init__()
        self.session = session
        self.now = now
        self.bench = bench
        self.assessment: Assessment | None = None
        # The repairs that were on record when it was worked out.
        self.assessed_repairs: tuple[str, ...] = ()
        self.chosen: Target | None = None
        self.same_crank = False
        self.working = False
        self._typing = False
        self._begun = False
        self._said_of_line = False
        self._after_work: list[Callable[[], None]] = []

    def compose(self) -> ComposeResult:
        yield Strip()
        with Vertical(id="work"):
            with Vertical(id="now"):
                yield StepCard()
                with Horizontal(id="entry-line"):
                    yield Static("Reading", id="entry-label")
                    yield ReadingEntry()
                    yield Static("", id="unit", markup=False)
                yield Digits("", id="big")
                yield Static("", id="said", markup=False)
                yield SuspectsView()
                yield Static("", id="taken", markup=False)
                yield Static("", id="reason", markup=False)
            yield RunView()
        yield KeyBar(self._keys())

    def on_mount(self) -> None:
        self.set_interval(1.0, self._show_strip)
        self.query_one("#entry-line").visible = False
        self._wear()
        self._show_strip()
        self._show_run(None, Leads())
        self.work_out()

    def on_resize(self) -> None:
        self.call_after_refresh(self.show)

    def on_screen_resume(self) -> None:
        # The settings, or the glossary's tall page, may have changed how it is to be shown.
        self.call_after_refresh(self.show)

    @property
    def plan(self) -> Way:
        """The way of working; it is a setting, so that it is remembered."""
        return self.app.settings.plan

    @property
    def inch(self) -> bool:
        return self.app.settings.units is Units.INCH

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

    def _assess(self, plan: Way) -> None:
        worker = get_current_worker()
        try:
            answer: Assessment | str = self.session.assess("fastest" if plan is Way.FASTEST else "walk")
        except DropwalkError as error:
            answer = str(error)
        except Exception as error:
            # The job must stay open for taking back whatever brought this on; the record itself is sound.
            answer = f"this could not be worked out ({type(error).__name__}: {error}); u takes the last one back"
        self.app.call_from_thread(self._take_on, worker, answer)

    def _take_on(self, worker: Worker[object], answer: Assessment | str) -> None:
        # Asked here and not beside the screen: something may have been put on record on the way.
        if not worker.is_cancelled:
            self.answered(answer)

    def answered(self, answer: Assessment | str) -> None:
        """Take on a fresh answer, or the reason why there is none."""
        self.working = False
        waiting, self._after_work = self._after_work, []
        if isinstance(answer, str):
            self.say(f"! {answer}")
            self.show()
            return
        self.assessment, self.assessed_repairs = answer, self.session.state.repairs
        self.show()
        for do in waiting:
            do()

    def then(self, do: Callable[[], None]) -> None:
        """Do this with the fresh answer, now or as soon as it is there; not at all if there is none."""
        if self.working:
            self._after_work.append(do)
        else:
            do()

    def show(self) -> None:
        """Put the assessment on the screen."""
        if (assessment := self.assessment) is None or not self.is_attached:
            return
        desk, target = self.session.desk, self.target
        spoken = self._wear()
        self._show_strip()
        self.query_one(StepCard).show(self._card(assessment), rest_of(desk, assessment.next))
        typed_here = target is not None or bool(self.offered)
        self.query_one("#entry-line").visible = typed_here
        self.query_one("#entry-label", Static).update("Reading" if target is not None else "Answer")
        entry = self.query_one(ReadingEntry)
        entry.disabled = not typed_here
        self._show_unit()
        if typed_here:
            entry.focus()
        self.query_one(SuspectsView).show(assessment, bars=not spoken)
        self.query_one("#taken", Static).update(latest_readings(assessment.readings, self.query_one("#taken").size))
        short = self.plan is Way.FASTEST
        reason = self.query_one("#reason", Static)
        why = why_text(desk, assessment, short=True, lessons=not short)
        reason.update(within(why, reason.size.width, reason.size.height, _MORE))
        self._show_run(assessment, target.leads if target is not None else Leads())
        self.query_one(KeyBar).show(self._keys())

    def _card(self, assessment: Assessment) -> Content:
        uncounted = failures_untold(self.session.state)
        return card(self.session.desk, assessment.next, self.target, self._on(), uncounted=uncounted)

    def types(self, event: events.Key) -> bool:
        entry = self.query_one(ReadingEntry)
        begins = event.is_printable and entry.begins(event.character) and not self.app.lone_keys.waiting
        if not entry.has_focus:
            return False
        # Keys that come at once overtake the line: what follows the first of them belongs behind it.
        self._begun = begins or (self._begun and event.is_printable)
        return bool(entry.value) or self._begun

    def take_as_text(self, text: str) -> None:
        entry = self.query_one(ReadingEntry)
        if entry.has_focus:
            entry.type_in(text)
            self.say(
                "Letters together are text and do nothing. Esc empties the line; one letter alone is a key.",
                of_line=True,
            )
        else:
            self.say(f"`{text}` was typed at once and did nothing. A key works when it is pressed alone.")

    def _wear(self) -> bool:
        """Take on the layout that is set; whether it is the spoken one."""
        layout = self.app.settings.layout
        self.set_class(layout is Layout.LARGE, "-large")
        self.set_class(layout is Layout.SPOKEN, "-spoken")
        return layout is Layout.SPOKEN

    def _show_run(self, assessment: Assessment | None, leads: Leads) -> None:
        run = self.query_one(RunView)
        run.inch = self.inch
        run.spoken = self.app.settings.layout is Layout.SPOKEN
        run.show(draw(self.session.desk.circuit, assessment, leads, self.session.state.out_of_reach))

    def _on(self) -> Target | None:
        """Where the leads are: on the last reading taken of the circuit as it is."""
        taken = [reading.taken for reading in self.session.state.current if reading.taken.clamp is None]
        return Target(taken[-1].state, taken[-1].red, taken[-1].black) if taken else None

    def _show_unit(self) -> None:
        """What belongs behind the line: the unit and what marks the reading, or what the number answers."""
        target = self.target
        said = self._unit(target) if target is not None else self._answer(self.query_one(ReadingEntry).value.strip())
        self.query_one("#unit", Static).update(said)

    def _unit(self, target: Target) -> str:
        said: list[str] = []
        if target.state == "cranking":
            if self.fails_now(target):
                said.append("it fails now")
            elif self.comes_and_goes and not self.wants_failing(target):
                said.append("it does not fail now")
            said += ["same crank"] if self.same_crank else []
        unit = "A" if target.clamp is not None else "V" if said else "V, or open"
        return "; ".join([unit, *said])

    def _answer(self, typed: str) -> str:
        if not typed:
            return f"{self._numbers()}, then Enter" if self._numbers() else "Enter lists them"
        numbered = {str(number): label for number, (_, label) in enumerate(self.offered[:9], 1)}
        return numbered.get(typed, "no answer")

    def _numbers(self) -> str:
        """The numbers of the answers in sight."""
        offers = self.query_one(StepCard).offers
        most = max((number for number in range(1, min(9, len(self.offered)) + 1) if offers(number)), default=0)
        return "" if not most else "1" if most == 1 else f"1-{most}"

    @property
    def offered(self) -> list[tuple[str, str]]:
        """What can be answered now, id and label; nothing at a step that does not ask."""
        step = self.assessment.next if self.assessment else None
        return choices(self.session.desk, step) if step and step.kind == "ask" and self.target is None else []

    @property
    def comes_and_goes(self) -> bool:
        """Whether the complaint is one that comes and goes."""
        complaint = self.session.state.complaint
        return complaint is not None and complaint.intermittent

    def fails_now(self, target: Target) -> bool:
        """Whether you said that the fault shows itself while start is held, so that a reading here is marked."""
        return target.state == "cranking" and self.session.state.fails_now

    def wants_failing(self, target: Target) -> bool:
        """Whether the step asks for a reading while the fault shows itself."""
        asked = self.assessment is not None and bool(self.assessment.next.acting_up)
        return target.state == "cranking" and asked and not target.chosen

    def on_input_changed(self, event: Input.Changed) -> None:
        self._begun = False
        # The large layout shows in big figures what is being typed.
        self.query_one("#big", Digits).update(event.value)
        if self.offered:
            self._show_unit()
        if not event.value and self._said_of_line:
            self.say("")
        if bool(event.value) is not self._typing:
            self._typing = bool(event.value)
            self.query_one(KeyBar).show(self._keys())

    def _show_strip(self) -> None:
        state, desk = self.session.state, self.session.desk
        air_c = state.complaint.air if state.complaint else 20.0
        air = show_temperature(round(air_c), inch=self.inch)
        vehicle = f"{desk.circuit.map.circuit}  {desk.circuit.system_v:g} V  {air}"
        volts = [
            f"{show_volts(reading.volts)} {_HELD[name]}"
            for name, reading in posts(desk.circuit, self.assessment).items()
            if reading.volts is not None
        ]
        about = "  ".join([vehicle, *volts] if self.size.width >= 110 or not volts else volts)
        rest_s = self.rest_s()
        now = f"timed cranks {state.cranks}" if state.cranks else ""
        if state.cranks and self.size.width >= 110:
            now += f", last {clock(self._since_crank_s())} ago"
        if rest_s > 0:
            now = f"rest {clock(rest_s)}"
        now = "working it out" if self.working else f"{now}  {_WAY[self.plan]}".strip()
        self.query_one(Strip).show(state.title, about, now, alarm=rest_s > 0 and not self.working)

    def rest_s(self) -> float:
        """Seconds that the starter must still rest."""
        return rest_left_s(self._cranks(), self.now())

    def _since_crank_s(self) -> float:
        return (self.now() - max(ended for ended, _ in self._cranks())).total_seconds()

    def _cranks(self) -> list[tuple[datetime, float]]:
        """The timed cranks that stand: when each ended, and its seconds."""
        stands = self.session.state.standing_events()
        timed = {number: event.seconds for number, event in stands if isinstance(event, Cranked)}
        return [(entry.at, timed[entry.seq]) for entry in self.session.log if entry.seq in timed]

    def _keys(self) -> list[Key]:
        step = self.assessment.next if self.assessment else None
        keys: list[Key] = []
        if self.offered and self._typing:
            return [("Enter", "answer"), ("F1", "help"), ("Esc", "empty it")]
        if self.target is not None and self._typing:
            return [("Enter", "take it"), ("letters", "type its unit: V, mV, A"), ("F1", "help"), ("Esc", "empty it")]
        if self.target is not None:
            keys = [("Enter", "take it"), *([("d", "meter")] if self.bench else []), ("t", "time crank")]
        elif step is not None and step.kind == "ask":
            keys = [(self._numbers(), "answer")] if self._numbers() else []
            keys += [("i", "count starts")] if self._counts(step) else []
            keys += [("Enter", "list them"), *([("d", "look")] if self.bench else [])]
        elif step is not None:
            keys = [("Enter", "go on")]
            keys += _NOW.get(step.kind, [])
        keys += [("j", "jump"), ("w", "why"), ("u", "take back"), ("c", "cautions"), ("r", "readings")]
        keys += [("b", "best test" if self.plan is Way.WALK else "the walk"), ("v", "volts"), ("f", "finding")]
        keys += [("h", "how sure"), ("p", "part"), ("m", "other"), *([("x", "can't reach")] if self.target else [])]
        keys += [("k", "same crank"), ("a", "fails now")] if self.target is not None else []
        keys += [("l", "learn")] if self.plan is Way.WALK else []
        keys += [("n", "note"), ("g", "words"), ("e", "complaint"), ("s", "settings")]
        keys += [key for key in _AFTER if key[0] not in {name for name, _ in keys}]
        return [*keys, ("?", "help"), ("Esc", "home" if self.chosen is None else "the step")]

    def _counts(self, step: Next) -> bool:
        """Whether the answer to this step rests on starts that are counted on a page of their own."""
        own = step_of(self.session.desk, step)
        return own is not None and own.counted is not None

    def say(self, text: str | Content, *, of_line: bool = False) -> None:
        """Put a line or two where the answer to the last deed is looked for; one `of_line` goes with what is typed."""
        self._said_of_line = of_line
        shown = self.query_one("#said", Static)
        content = Content(text) if isinstance(text, str) else text
        shown.update(within(content, shown.size.width, _MOST_SAID, _MORE))
