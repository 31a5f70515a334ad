"""The bench of the lab: a vehicle, a meter, and nobody who stops you from using it wrongly."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from wizard.circuit.heard import Heard
from wizard.diagnosis.faults import NO_REPAIR
from wizard.errors import DropwalkError
from wizard.lab.attempt import Attempt, Earns
from wizard.lab.deeds import (
    MOST_EVIDENCE,
    MOST_PARTS,
    Concluded,
    Deed,
    GroundLead,
    Helped,
    Line,
    Listened,
    Probed,
    Rested,
    SideNamed,
    Touched,
    Warmed,
)
from wizard.lab.exercise import Exercise, Where
from wizard.lab.feedback import feedback_text, own_text
from wizard.lab.hints import hint
from wizard.lab.marking import Marker
from wizard.lab.meter import AUTO, FUNCTIONS, OVER, RANGES, UNIT, Function
from wizard.quantities import LONG_TEXT_MOST, parse_number, parse_quantity, typed_text
from wizard.ui.ask_text import AskText
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.confirm import Confirm
from wizard.ui.keybar import Key, KeyBar, UnderBoxes
from wizard.ui.own_reading import clampable
from wizard.ui.pick import Item, Pick
from wizard.ui.story import Story
from wizard.ui.theme import GRAPHITE, PAPER
from wizard.ui.visit import Page
from wizard.walk.assessment import Next
from wizard.walk.desk import Desk
from wizard.walk.drawing import Leads, Row, draw, short_name
from wizard.walk.events import CautionsRead, Repaired
from wizard.walk.flow import EACH_PART

_REST_MINUTES = 2.0
_NAME_MOST = 60
_SIDES: tuple[tuple[Where, str], ...] = (
    ("positive", "the positive side"),
    ("ground", "the ground side"),
    ("control", "the control side"),
    ("battery", "the battery"),
    ("starter", "the starter, its solenoid included"),
    ("engine", "the engine"),
    ("nothing", "nothing is wrong"),
)
_EARNS: dict[Earns, str] = {
    "side": "the side at fault (d)",
    "repair": "the repair (z) and a reading that proves it",
    "proof": "a reading that proves the repair",
}
_KEYS: list[Key] = [
    ("r", "red here"),
    ("b", "black here"),
    ("h", "hold start and read"),
    ("Space", "read"),
    ("f", "function"),
    ("d", "name the side"),
    ("z", "repair"),
    ("a", "answer"),
    ("i", "hand in"),
    ("n", "next test"),
    ("g", "range"),
    ("m", "clamp here"),
    ("o", "only listen"),
    ("c", "cautions"),
    ("?", "help"),
    ("Esc", "leave"),
]
KEYS_TEXT = """\
Up Down     move along the circuit
r  b        put the red, the black lead on this point
m           clamp around the part that leads on from this point
x           take all leads off
f  g        the meter's function, its range
Space       read with start not held
s           how long start is held
h           hold start for that long, and read
o           hold start for that long, and only listen
t           move what is at this point by hand
w           let two minutes pass
e           bring the engine space to running heat
l           ground lead off, or on again
d           name the side that is at fault
z           do a repair
a           give your answer: what is at fault, which readings show it, and why
i           hand in
n           show the next test, where the exercise allows it
c           the cautions
Ctrl+T      light or dark
Esc         leave; the attempt is kept and goes on when you come back
"""


class BenchScreen(UnderBoxes[Path]):
    """Shows the circuit and the meter, and puts down what the student does; left with the hand-in when there is one."""

    DEFAULT_CSS = """
    BenchScreen #head { height: 1; padding: 0 1; background: $panel; }
    BenchScreen #work { height: 1fr; }
    BenchScreen OptionList { width: 1fr; border: none; padding: 0; background: $background; text-wrap: nowrap; }
    BenchScreen OptionList { text-overflow: ellipsis; }
    BenchScreen OptionList:focus { border: none; background-tint: $foreground 0%; }
    BenchScreen #side { width: 44%; min-width: 34; padding: 0 1; }
    BenchScreen #display { height: 3; padding: 1 1 0 1; background: $panel; color: $primary; text-style: bold; }
    BenchScreen #setting { height: 4; padding: 0 1; background: $panel; }
    BenchScreen #said { height: auto; min-height: 3; max-height: 10; padding: 0; }
    BenchScreen #log { height: 1fr; }
    """
    AUTO_FOCUS = "OptionList"
    # What help shows on this screen.
    keys_text: ClassVar[str] = KEYS_TEXT
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("r", "lead('red')", show=False),
        Binding("b", "lead('black')", show=False),
        Binding("m", "clamp", show=False),
        Binding("x", "leads_off", show=False),
        Binding("f", "function", show=False),
        Binding("g", "range", show=False),
        Binding("space", "read(False)", show=False, priority=True),
        Binding("h", "read(True)", show=False),
        Binding("s", "seconds", show=False),
        Binding("o", "listen", show=False),
        Binding("t", "touch", show=False),
        Binding("w", "wait", show=False),
        Binding("e", "warm", show=False),
        Binding("l", "ground_lead", show=False),
        Binding("d", "side", show=False),
        Binding("z", "repair", show=False),
        Binding("a", "answer", show=False),
        Binding("i", "hand_in", show=False),
        Binding("n", "next_test", show=False),
        Binding("c", "cautions", show=False),
        Binding("question_mark", "keys", show=False),
        Binding("escape", "leave", show=False),
    ]

    def __init__(self, attempt: Attempt, *, answers: bool) -> None:
        """`answers` shows marks and answer after the hand-in; without it the student sees only their own doing."""
        super().__init__()
        self.attempt = attempt
        self.answers = answers
        self.exercise, self.desk = attempt.exercise, attempt.desk
        self.rows: list[Row] = list(draw(self.desk.circuit, None, Leads()))
        self.red: str | None = None
        self.black: str | None = None
        self.around: str | None = None
        self.function: Function = "volts"
        self.range = AUTO
        self.hold_s = 5.0
        self.handed_in: Path | None = None

    def compose(self) -> ComposeResult:
        yield Static("", id="head", markup=False)
        with Horizontal(id="work"):
            yield OptionList(markup=False)
            with Vertical(id="side"):
                yield Static("----", id="display", markup=False)
                yield Static("", id="setting", markup=False)
                yield Static("", id="said", markup=False)
                yield Static("", id="log", markup=False)
        yield KeyBar(_KEYS)

    def on_mount(self) -> None:
        options = self.query_one(OptionList)
        section = ""
        for number, row in enumerate(self.rows):
            if row.section != section:
                section = row.section
                options.add_option(Option(Content.styled(f"    {str(section).upper()}", "$secondary"), disabled=True))
            options.add_option(Option(self._line(row), id=str(number)))
        options.highlighted = 1
        self.set_interval(5.0, self._head)
        self._show()
        goals = "".join(f"\n- {goal}" for goal in self.exercise.goals)
        learn = f"You learn to{goals}\n\n" if goals else ""
        story = f"{self.exercise.story.strip()}\n\n{learn}You have {self.exercise.minutes:.0f} minutes."
        self.app.push_screen(Story(self.exercise.title, story), lambda _: self._first_cautions())

    def _first_cautions(self) -> None:
        if not any(isinstance(line.deed, CautionsRead) for line in self.attempt.lines):
            self.action_cautions()
        else:
            self._guide()

    # --- leads and meter -----------------------------------------------------------------------------------------

    @property
    def here(self) -> Row:
        option = self.query_one(OptionList).highlighted_option
        return self.rows[int(option.id) if option and option.id else 0]

    def action_lead(self, colour: str) -> None:
        if colour == "red":
            self.red = self.here.point
        else:
            self.black = self.here.point
        self._show()

    def action_clamp(self) -> None:
        if self.here.part not in clampable(self.desk.circuit):
            self.say("No cable leads on from here to put a clamp around.")
            return
        self.around = self.here.part
        self._show()

    def action_leads_off(self) -> None:
        self.red = self.black = self.around = None
        self._show()

    def action_function(self) -> None:
        self.function = FUNCTIONS[(FUNCTIONS.index(self.function) + 1) % len(FUNCTIONS)]
        self.range = AUTO
        self.query_one("#display", Static).update("----")
        self._show()

    def action_range(self) -> None:
        ranges = [AUTO, *RANGES[self.function]]
        self.range = ranges[(ranges.index(self.range) + 1) % len(ranges)]
        self._show()

    def action_seconds(self) -> None:
        def check(text: str) -> float:
            seconds = parse_number(text)
            if not 0.5 <= seconds <= 120:
                raise ValueError("write seconds from 0.5 to 120")
            return seconds

        def given(text: str | None) -> None:
            if text is not None:
                self.hold_s = check(text)
                self._show()

        self.app.push_screen(AskText("How many seconds is start held?", "", f"{self.hold_s:g}", check), given)

    def action_read(self, held: bool) -> None:
        if self.function == "clamp" and self.around is None:
            self.say("The clamp is around nothing: m puts it around the part that leads on from a point.")
            return
        if self.function != "clamp" and self.red is None and self.black is None:
            listen = " o holds start without a reading." if held else ""
            self.say(f"Both leads are on nothing: r and b put them on a point.{listen}")
            return
        deed = Probed(
            function=self.function,
            range=self.range,
            red=None if self.function == "clamp" else self.red,
            black=None if self.function == "clamp" else self.black,
            clamp=self.around if self.function == "clamp" else None,
            held_s=self.hold_s if held else 0.0,
        )
        if self.exercise.board:
            self._typed(deed)
        else:
            self._read(deed)

    def _typed(self, deed: Probed) -> None:
        """On a board the meter is a real one: what it shows is typed."""
        unit = UNIT[deed.function]
        dimension = "amps" if deed.function == "clamp" else deed.function

        def shown(text: str) -> str:
            if text.strip().upper() == OVER:
                return OVER
            return f"{parse_quantity(text, dimension, bare=1.0):g} {unit}"

        def given(text: str | None) -> None:
            if text is not None:
                self._read(deed.model_copy(update={"shown": shown(text)}))

        self.app.push_screen(
            AskText("What does the meter show?", f"In {unit}, or {OVER} over the range.", "", shown), given
        )

    def _read(self, deed: Probed) -> None:
        done = self._do(deed)
        if isinstance(done, Probed):
            self.query_one("#display", Static).update(done.shown)
            sound = "" if self.exercise.board or not deed.held_s else f" You hear: {self._heard()}."
            told = f"Reading {len(self.attempt.readings)} is {done.shown}.{sound}"
            self.say(told)
            self._guide(told)

    def action_listen(self) -> None:
        done = self._do(Listened(held_s=self.hold_s))
        if isinstance(done, Listened) and not self.exercise.board:
            self.say(f"You hear: {self._heard()}.")

    def _heard(self) -> str:
        return str(self.attempt.bench.heard).replace("-", " ")

    # --- the vehicle ---------------------------------------------------------------------------------------------

    def action_touch(self) -> None:
        if self._do(Touched(point=self.here.point)):
            self.say(f"You moved what is at the {short_name(self.here.point)}.")

    def action_wait(self) -> None:
        if self._do(Rested(minutes=_REST_MINUTES)):
            self.say("Two minutes passed.")

    def action_warm(self) -> None:
        if self._do(Warmed()):
            self.say("The engine space is at running heat.")

    def action_ground_lead(self) -> None:
        on = not self.attempt.bench.ground_lead_on
        if self._do(GroundLead(on=on)):
            self.say("The ground lead is on." if on else "The ground lead is off.")

    def action_repair(self) -> None:
        repairs = self.desk.circuit.repairs
        items = [Item(name, repair.label) for name, repair in repairs.items() if name != NO_REPAIR]

        def picked(names: tuple[str, ...] | None) -> None:
            if names and self._do(Repaired(repair=names[0])):
                done = f"Done: {repairs[names[0]].label}. The meter reads the repaired vehicle now."
                self.say(f"{done} Measure the same span again to prove it.")
                self._guide(done)

        self.app.push_screen(Pick("Which repair do you do?", items), picked)

    # --- the answer ----------------------------------------------------------------------------------------------

    def action_side(self) -> None:
        sides: dict[str, Where] = {str(side): side for side, _ in _SIDES}

        def picked(names: tuple[str, ...] | None) -> None:
            if names and self._do(SideNamed(side=sides[names[0]])):
                named = f"You named {dict(_SIDES)[sides[names[0]]]}."
                self.say(named)
                self._guide(named)

        self.app.push_screen(
            Pick("Which side is at fault?", [Item(str(side), words) for side, words in _SIDES]), picked
        )

    def action_answer(self) -> None:
        parts = self.desk.circuit.parts
        items = [Item(name, passive.part.label) for name, passive in parts.items()]
        items += [Item(name, f"the {name}") for name in ("battery", "starter", "engine", "coil")]
        heading = "What is at fault? Mark nothing when nothing is"
        self.app.push_screen(Pick(heading, items, several=True), self._evidence)

    def _evidence(self, parts: tuple[str, ...] | None) -> None:
        if parts is None:
            return
        if not parts:
            self._nothing()
            return
        if len(parts) > MOST_PARTS:
            self.say(f"! Name at most {MOST_PARTS} things; press a and answer again.")
            return
        self._ask_readings(parts)

    def _nothing(self) -> None:
        """Nothing was marked: an answer of its own, which nobody gives by accident."""

        def meant(ids: tuple[str, ...] | None) -> None:
            if ids == ("nothing",):
                self._ask_readings(())
            elif ids:
                self.action_answer()

        items = [Item("something", "Something is at fault: mark it"), Item("nothing", "Nothing is at fault")]
        self.app.push_screen(Pick("You marked nothing. Is nothing wrong?", items, at_once=False), meant)

    def _ask_readings(self, parts: tuple[str, ...]) -> None:
        items = [Item(str(n), f"{n}. {_told(deed)}") for n, deed in enumerate(self.attempt.readings, start=1)]
        self.app.push_screen(Pick("Which readings show it?", items, several=True), partial(self._reasons, parts))

    def _reasons(self, parts: tuple[str, ...], readings: tuple[str, ...] | None) -> None:
        if readings is None:
            return
        if len(readings) > MOST_EVIDENCE:
            self.say(f"! Choose at most {MOST_EVIDENCE} readings; press a and answer again.")
            return

        def given(text: str | None) -> None:
            if text is not None:
                evidence = sorted(map(int, readings))
                if self._do(Concluded(parts=list(parts), evidence=evidence, reasons=text)):
                    self.say(f"Your answer is down. {self._left()}i hands in.")

        hint = "Say what was lost where, and what a sound one would lose."
        self.app.push_screen(AskText("Why?", hint, "", partial(typed_text, most=LONG_TEXT_MOST)), given)

    def _left(self) -> str:
        """What still earns points; nothing when all of it was done."""
        left = [_EARNS[one] for one in self.attempt.unearned]
        return f"Points still to earn: {', '.join(left)}. " if left else ""

    def action_hand_in(self) -> None:
        warning = "" if self.attempt.answered else "You have given no answer yet. "
        question = f"{warning}{self._left()}After this nothing can be added. Hand in?"
        self.app.push_screen(Confirm("Hand in", question, "hand in", "not yet"), self._hand_in)

    def _hand_in(self, yes: bool | None) -> None:
        if not yes:
            return
        try:
            self.handed_in = self.attempt.hand_in()
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        at = f"Handed in as {self.handed_in.name}\nin the folder {_shown_folder(self.handed_in)}."
        attempt = self.attempt
        if not self.answers:
            own = own_text(self.desk.circuit, attempt.readings, (slip for _, slip in attempt.bench.slips))
            text = f"{at}\n\nYour teacher can show you the answer, your marks and the best walk.\n\n{own}"
            self.app.push_screen(Page("Handed in", text), self._leave)
            return
        page = Page("Handed in", f"{at}\n\nYour marks are being worked out.")
        self.app.push_screen(page, self._leave)
        self.run_worker(partial(self._mark, page, at), thread=True, group="marks")

    def _mark(self, page: Page, at: str) -> None:
        handin = self.attempt.handin()
        try:
            marker = Marker(self.exercise, self.desk)
            told = feedback_text(marker, handin, marker.mark(handin))
        except DropwalkError as error:
            told = f"! {error}"
        text = f"{at}\n\n{told}"
        self.app.call_from_thread(page.show, text)

    def _leave(self, _: bool | None) -> None:
        self.dismiss(self.handed_in)

    # --- help ----------------------------------------------------------------------------------------------------

    def action_next_test(self) -> None:
        if self.exercise.help == "free":
            self.say("This exercise is worked without help.")
            return
        self._work_out()

    def _guide(self, done: str = "") -> None:
        """Say what comes next where the exercise helps, behind what was just done."""
        if self.exercise.help == "guided":
            self._work_out(done)

    def _work_out(self, done: str = "") -> None:
        lines, bench = list(self.attempt.lines), self.attempt.bench
        thought = partial(self._thought, lines, frozenset(bench.failing), bench.heard, done)
        self.run_worker(thought, thread=True, exclusive=True, group="help")

    def _thought(self, lines: list[Line], failing: frozenset[int], heard: Heard | None, done: str) -> None:
        found = hint(self.exercise, self.desk, lines, failing, heard)
        self.app.call_from_thread(self._tell, found, len(lines), done)

    def _tell(self, found: Next, count: int, done: str) -> None:
        """Put down what comes next, so that it can't be marked as a wrong turn, and say it."""
        if self.handed_in is not None:
            return
        if count != len(self.attempt.lines):
            # Something else was done meanwhile.
            self._work_out(done)
            return
        told = Helped()
        if found.kind in ("measure", "prove"):
            told = Helped(red=found.red, black=found.black, clamp=found.clamp, held=found.state == "cranking")
        if self._do(told):
            self.say(f"{done} Next: {self._asked(found)}".strip())

    def _asked(self, found: Next) -> str:
        points, parts = self.desk.circuit.map.points, self.desk.circuit.parts
        match found.kind:
            case "measure" | "prove" if found.clamp:
                return f"clamp around {parts[found.clamp].part.label}, start held."
            case "measure" | "prove":
                held = "start held" if found.state == "cranking" else "everything off"
                return f"red on {points[found.red or ''].label}, black on {points[found.black or ''].label}, {held}."
            case "repair":
                return f"the readings call for it: {self.desk.circuit.repairs[found.repair or ''].label}."
            case "ask":
                step = self.desk.flow.steps[found.step or ""]
                how = "t at its end" if EACH_PART in step.choices else "e"
                return f"{step.title}: {how}."
            case _:
                return found.why

    def action_cautions(self) -> None:
        names = list(self.desk.flow.steps[self.desk.flow.start].cautions)

        def read(done: bool | None) -> None:
            if done:
                self._do(CautionsRead(cautions=names))
                self.say("Cautions read.")
                self._guide()

        self.app.push_screen(CautionsPage(self.desk.cautions, names, confirm=True), read)

    def action_leave(self) -> None:
        question = "What you did is kept, and goes on when you come back. It is not handed in: i does that."
        self.app.push_screen(Confirm("Leave the bench?", question, "leave", "stay"), self._left_for)

    def _left_for(self, yes: bool | None) -> None:
        if yes:
            self.dismiss(None)

    def action_keys(self) -> None:
        self.app.push_screen(Page("Keys at the bench", KEYS_TEXT))

    # --- drawing -------------------------------------------------------------------------------------------------

    def say(self, text: str) -> None:
        """One remark about what just happened."""
        self.query_one("#said", Static).update(text)

    def _do(self, deed: Deed) -> Deed | None:
        try:
            done = self.attempt.do(deed)
        except DropwalkError as error:
            self.say(f"! {error}")
            return None
        self._show()
        return done

    def on_resize(self) -> None:
        self.call_after_refresh(self._show_rows)

    def on_option_list_option_highlighted(self) -> None:
        self._show_rows()

    def _show_rows(self) -> None:
        options = self.query_one(OptionList)
        for number, row in enumerate(self.rows):
            options.replace_option_prompt(str(number), self._line(row))

    def _show(self) -> None:
        self._show_rows()
        lines = [f"Meter  {self.function}, range {self.range}"]
        if self.function == "clamp":
            lines.append(f"Clamp  {short_name(self.around) if self.around else 'on nothing'}")
        else:
            lines.append(f"Red    {short_name(self.red) if self.red else 'on nothing'}")
            lines.append(f"Black  {short_name(self.black) if self.black else 'on nothing'}")
        ground = "" if self.attempt.bench.ground_lead_on else ", ground lead off"
        lines.append(f"h holds start for {self.hold_s:g} s{ground}")
        self.query_one("#setting", Static).update("\n".join(lines))
        told = [f"{n:>2}. {_told(deed)}" for n, deed in enumerate(self.attempt.readings, start=1)]
        self.query_one("#log", Static).update("\n".join(reversed(told)))
        self._head()

    def _head(self) -> None:
        used = self.attempt.elapsed_s / 60.0
        over = "  over time" if used > self.exercise.minutes else ""
        self.query_one("#head", Static).update(
            f"{self.attempt.student}  {self.exercise.title}   {used:.0f} of {self.exercise.minutes:.0f} min{over}"
        )

    def _line(self, row: Row) -> Content:
        leads = "".join(mark for mark, at in (("R", self.red), ("B", self.black)) if at == row.point)
        if row.part and row.part == self.around:
            leads += "A"
        name = short_name(row.point).ljust(self._point_width)
        part = f"  | {short_name(row.part)}" if row.part else ""
        # The bar alone is not seen on every screen without colours.
        here = ">" if row is self.here else " "
        return Content.assemble(
            (f"{leads:3}", "bold reverse" if leads else ""), here, (name if part else name.rstrip(), "bold"), part
        )

    @property
    def _point_width(self) -> int:
        """Columns for a point's name: as many as the longest has, where there is room for the parts in one column."""
        point = max(len(short_name(row.point)) for row in self.rows)
        part = max(len(short_name(row.part)) for row in self.rows)
        return point if len("RB >  | ") + point + part <= self.query_one(OptionList).size.width else 0


def _told(deed: Probed) -> str:
    if deed.function == "clamp":
        where = short_name(deed.clamp) if deed.clamp else "nothing"
    else:
        where = f"{short_name(deed.red or 'nothing')} to {short_name(deed.black or 'nothing')}"
    held = f" (start {deed.held_s:g} s)" if deed.held_s else ""
    return f"{deed.shown}  {where}{held}"


def _shown_folder(file: Path) -> str:
    """Where a file is, from the user's home on where it is there."""
    folder, home = file.parent.absolute(), Path.home()
    return f"~/{folder.relative_to(home)}" if folder.is_relative_to(home) else str(folder)


def begin(exercise: Exercise, desk: Desk, student: str, folder: Path) -> Attempt:
    """A new attempt, or the one that was broken off. Raises DropwalkError when that one is damaged."""
    return Attempt.begin(exercise, desk, student, folder, secrets.randbits(32), lambda: datetime.now(UTC))


class BenchApp(App[None]):
    """One student's bench, from the name to the hand-in."""

    TITLE = "dropwalk lab"
    ENABLE_COMMAND_PALETTE = False
    CSS = """
    OptionList > .option-list--option-highlighted, OptionList:focus > .option-list--option-highlighted {
        color: $background; background: $foreground; text-style: bold;
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+t", "light", show=False),
        Binding("f1", "keys", show=False, priority=True),
    ]

    def __init__(self, exercise: Exercise, desk: Desk, student: str, folder: Path, *, answers: bool = True) -> None:
        super().__init__()
        self.answers = answers
        self.exercise, self.desk, self.student, self.folder = exercise, desk, student, folder

    def on_mount(self) -> None:
        self.register_theme(GRAPHITE)
        self.register_theme(PAPER)
        self.theme = GRAPHITE.name
        if self.student:
            self._begin(self.student)
        else:
            hint = "It goes on your hand-in."
            self.push_screen(AskText("Your name", hint, "", checked_name), lambda name: self._begin(name or ""))

    def action_light(self) -> None:
        self.theme = PAPER.name if self.theme == GRAPHITE.name else GRAPHITE.name

    def action_keys(self) -> None:
        if not isinstance(self.screen, Page):
            self.push_screen(Page("Keys at the bench", KEYS_TEXT))

    def _begin(self, student: str) -> None:
        if not student:
            self.exit()
            return
        try:
            attempt = begin(self.exercise, self.desk, student, self.folder)
        except DropwalkError as error:
            self.push_screen(Page("This can't go on", str(error)), lambda _: self.exit())
            return
        self.push_screen(BenchScreen(attempt, answers=self.answers), lambda _: self.exit())


def checked_name(text: str) -> str:
    """A name for a hand-in. Raises ValueError."""
    name = typed_text(text, _NAME_MOST)
    if not name:
        raise ValueError("write your name")
    return name


def run_bench(exercise: Exercise, desk: Desk, student: str, folder: Path, *, answers: bool) -> None:
    """Run the bench until it is handed in or left. Raises DropwalkError for a name that can't be."""
    if student:
        try:
            student = checked_name(student)
        except ValueError as error:
            raise DropwalkError(str(error)) from None
    BenchApp(exercise, desk, student, folder, answers=answers).run()
