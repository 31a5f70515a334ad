"""Readings, answers and cranks as the user gives them: checked, asked about, then recorded."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from textual.content import Content

from wizard.errors import DropwalkError
from wizard.quantities import LONG_TEXT_MOST, capitalised, show_volts, typed_text
from wizard.ui.ask_text import AskText
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.crank import CrankTimer, clock
from wizard.ui.entry import ReadingEntry
from wizard.ui.job_view import JobView
from wizard.ui.own_reading import ask_span
from wizard.ui.pick import Item, Pick
from wizard.ui.reading_text import Typed, read_typed
from wizard.ui.readings_page import Deed, ReadingsPage
from wizard.ui.step_card import StepCard, choices
from wizard.ui.sure import Sure
from wizard.ui.target import Target
from wizard.ui.telling import judged, show_typed, undone, where
from wizard.ui.what_happened import WhatHappened
from wizard.walk.drawing import posts
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Cranked,
    Event,
    FailsNow,
    Noted,
    OutOfReach,
    ReadingStruck,
)
from wizard.walk.plausible import battery_posts, is_across_battery, misses_battery, rises_under_load, shows_battery

_LEADS = Item("leads", "A lead was somewhere else: read again")
_NOT_HELD = Item("not-held", "Start was not held: read again")
_OPEN = Item("open", "Start was held and it did not crank: take it, something between the leads is open")
_OPEN_MARKED = Item("open", "Start was held and it did not crank: take it, marked while it failed")
_EMPTY_BATTERY = Item("low", "The battery is that low: take it")
_RISES = Item("rises", "A charger or another battery helps it: take it")
# What follows when a battery's post is called out of reach, before and after it is.
_UNREAD = "the battery stays unread then"
_NO_BATTERY = "The battery's own volts and the joint on this post stay unread; x again once you can reach it."
# Whether a reading that is to be taken while the fault shows itself was.
_FAILED = [
    Item("failed", "It failed: mark this reading"),
    Item("fails", "It fails now: mark this one and the next ones, until a is pressed"),
    Item("did-not", "It did not fail: take it as read while it did not"),
]


class Taking(JobView):
    """Everything that puts a reading, an answer or a crank on record, or takes it back."""

    def record(self, *events: Event) -> bool:
        """On disk first, then on screen. False, with the reason said, when it is refused."""
        try:
            self.session.record(*events)
        except DropwalkError as error:
            self.say(f"! {error}")
            return False
        self.work_out()
        return True

    def with_cautions(self, deeds: list[str], do: Callable[[], None]) -> None:
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

    # Readings

    def on_reading_entry_entered(self, event: ReadingEntry.Entered) -> None:
        target = self.target
        if self.working:
            self.say("Still working out the last one; press Enter again.")
        elif target is not None:
            self._take(event.text, target)
        elif event.text.strip():
            self._answer_typed(event.text.strip())
        else:
            self.list_answers()

    def _take(self, text: str, target: Target, *, instead_of: int | None = None) -> None:
        system_v = self.session.desk.circuit.system_v
        read = partial(read_typed, system_v=system_v, clamp=target.clamp is not None)
        try:
            typed = read(text)
        except ValueError as error:
            self.say(f"! {error}.", of_line=True)
            return
        if typed.value == "open" and is_across_battery(self.session.desk.circuit, target.observable):
            self.say("! A battery is read in volts. Type what the meter shows, 0 if it shows nothing.", of_line=True)
            return

        def told(other: str | None) -> None:
            if other:
                self._take_instead(other, target, instead_of)
            elif other is not None:
                self._take_sane(typed, target, instead_of)

        if typed.question:
            hint = f"{typed.question} Enter takes it so. Or type what the meter shows."
            page = AskText("Before it is recorded", hint, "", lambda other: read(other) if other.strip() else None)
            self.app.push_screen(page, told)
        else:
            self._take_sane(typed, target, instead_of)

    def _take_instead(self, text: str, target: Target, instead_of: int | None) -> None:
        """Take what was typed where an earlier value was asked about; that one is forgotten."""
        if instead_of is None:
            self.query_one(ReadingEntry).value = text
        self._take(text, target, instead_of=instead_of)

    def _take_sane(self, typed: Typed, target: Target, instead_of: int | None) -> None:
        """Ask what happened when a drop under load reads like the battery itself, or the battery like a drop."""
        circuit = self.session.desk.circuit
        least = typed.minimum if typed.minimum is not None else typed.value
        most = typed.maximum if typed.maximum is not None else typed.value
        if least == "open" or most == "open":
            self._take_failing(typed, target, instead_of)
        elif target.expected_v is not None and shows_battery(circuit, target.observable, target.expected_v[1], most):
            opened = _OPEN_MARKED if self.comes_and_goes else _OPEN
            heading = f"{show_volts(most)} is most of the battery. What happened?"
            self._ask_what(heading, [opened, _NOT_HELD, _LEADS], typed, target, instead_of)
        elif misses_battery(circuit, target.observable, least):
            heading = f"{show_volts(least)} is hardly a battery's volts. What happened?"
            self._ask_what(heading, [_EMPTY_BATTERY, _LEADS], typed, target, instead_of)
        elif rises_under_load(circuit, target.observable, self._resting_v, most):
            heading = (
                f"{show_volts(most)} is more than the {show_volts(self._resting_v or 0.0)} at rest. What happened?"
            )
            self._ask_what(heading, [_NOT_HELD, _LEADS, _RISES], typed, target, instead_of)
        else:
            self._take_failing(typed, target, instead_of)

    @property
    def _resting_v(self) -> float | None:
        resting = posts(self.session.desk.circuit, self.assessment).get("resting")
        return resting.volts if resting is not None else None

    def _ask_what(
        self, heading: str, answers: list[Item], typed: Typed, target: Target, instead_of: int | None
    ) -> None:
        def told(ids: tuple[str, ...] | None) -> None:
            match ids:
                case None | ():
                    pass
                case ("low" | "rises",):
                    self._take_failing(typed, target, instead_of)
                case ("open",):
                    fails = True if self.comes_and_goes else self._told_failing(target)
                    self._take_marked(typed, target, instead_of, fails)
                case ("leads" | "not-held",):
                    self.query_one(ReadingEntry).value = ""
                    start = "hold start" if target.state == "cranking" else "all off"
                    self.say(f"Nothing was recorded. Put the leads on, {start}, and read again.")
                case (text, *_):
                    self._take_instead(text, target, instead_of)

        check = partial(read_typed, system_v=self.session.desk.circuit.system_v)
        self.app.push_screen(WhatHappened(heading, answers, check), told)

    def _take_failing(self, typed: Typed, target: Target, instead_of: int | None) -> None:
        """Ask whether it failed where the reading is to be taken while it does; a corrected one keeps its mark."""
        if instead_of is not None:
            mark = self.session.state.readings[instead_of - 1].taken.acting_up
            self._take_marked(typed, target, instead_of, mark)
            return
        if not self.wants_failing(target) or self.fails_now(target):
            self._take_marked(typed, target, instead_of, self._told_failing(target))
            return

        def told(ids: tuple[str, ...] | None) -> None:
            if not ids or (ids[0] == "fails" and not self.record(FailsNow(fails=True))):
                return
            self._take_marked(typed, target, instead_of, ids[0] != "did-not")

        shown = show_typed(typed, clamp=target.clamp is not None)
        self.app.push_screen(Pick(f"{shown}: did it fail while you read it?", _FAILED, at_once=False), told)

    def _told_failing(self, target: Target) -> bool | None:
        return self.fails_now(target) or None

    def _take_marked(self, typed: Typed, target: Target, instead_of: int | None, fails: bool | None) -> None:
        deeds = target.deeds(self.session.desk.circuit.map)
        self.with_cautions(deeds, partial(self._record_reading, target, typed, instead_of, fails))

    def _record_reading(self, target: Target, typed: Typed, instead_of: int | None, fails: bool | None) -> None:
        crank = None if target.state == "resting" else self._crank(instead_of)
        taken = target.reading(typed, crank=crank, acting_up=fails, instead_of=instead_of)
        if not self.record(taken):
            return
        self.chosen = None
        self.same_crank = False
        self.query_one(ReadingEntry).value = ""
        shown = show_typed(typed, clamp=target.clamp is not None)
        self.say(Content.assemble(("Taken: ", ""), (shown, "bold"), f"  {where(target)}"))
        self.then(partial(self._say_judged, len(self.session.state.readings)))

    def _crank(self, instead_of: int | None) -> int:
        """The number of the crank that a reading belongs to: a corrected one keeps its own."""
        readings = self.session.state.readings
        if instead_of is not None:
            kept = readings[instead_of - 1].taken.crank
            if kept is not None:
                return kept
        elif self.same_crank and (last := self._last_crank()) is not None:
            return last
        return 1 + max((reading.taken.crank or 0 for reading in readings), default=0)

    def _last_crank(self) -> int | None:
        """The crank of the latest reading under load that still stands; None when there is none to share."""
        loaded = [reading for reading in self.session.state.current if reading.taken.state == "cranking"]
        return loaded[-1].taken.crank if loaded else None

    def _say_judged(self, number: int) -> None:
        for reading in self.assessment.readings if self.assessment else []:
            if self.assessment and reading.id == number:
                self.say(judged(reading, self.assessment, self.session.state.readings[number - 1].taken.acting_up))

    def action_same_crank(self) -> None:
        """The next reading is of the crank that the last one was taken in."""
        if not self.same_crank and self._last_crank() is None:
            self.say("There is no reading under load yet whose crank it could share.")
            return
        self.same_crank = not self.same_crank
        self.say("The next reading shares the crank of the last one." if self.same_crank else "A crank of its own.")
        self.show()

    def action_fails_now(self) -> None:
        """Mark the readings from here on as taken while the fault shows itself, or no more."""
        fails = not self.session.state.fails_now
        if fails:
            text = "The fault shows itself now while start is held. Readings from here on are marked so."
            self._sure("a", "It fails now?", text, "mark them", partial(self._mark, fails))
        else:
            text = "The fault does not show itself any more. Readings from here on are not marked."
            self._sure("a", "It fails no more?", text, "mark no more", partial(self._mark, fails))

    def _mark(self, fails: bool) -> None:
        if self.record(FailsNow(fails=fails)):
            marked = "It fails now: readings are marked so until you press a again."
            self.say(marked if fails else "It fails no more: readings are not marked from here on.")

    def _sure(self, letter: str, heading: str, text: str, deed: str, do: Callable[[], None]) -> None:
        """Have a single letter put something on record only once it is meant; a word that it begins is typed."""

        def answered(typed: str | None) -> None:
            if typed == letter:
                do()
            elif typed is not None:
                self.take_as_text(letter + typed)

        self.app.push_screen(Sure(letter, heading, text, deed), answered)

    def action_own_reading(self) -> None:
        ask_span(self.app, self.session, self.choose_target)

    def choose_target(self, target: Target) -> None:
        """Read this next, whatever the walk asks for; its cautions come first, since start is held while it is read."""
        self.with_cautions(target.deeds(self.session.desk.circuit.map), partial(self._aim, target))

    def _aim(self, target: Target) -> None:
        self.chosen = target
        self.query_one(ReadingEntry).value = ""
        self.say("")
        self.show()

    def action_readings(self, here: int | None = None) -> None:
        readings = self.assessment.readings if self.assessment else []
        self.app.push_screen(ReadingsPage(readings, here), self._reading_deed)

    def _reading_deed(self, deed: Deed | None) -> None:
        if deed is None:
            return
        what, number = deed
        taken = self.session.state.readings[number - 1].taken
        target = Target(taken.state, taken.red, taken.black, taken.clamp, chosen=True)
        match what:
            case "strike":
                if self.record(ReadingStruck(reading=number)):
                    self.say(f"Reading {number} is taken back. It stays in the record and counts for nothing.")
            case "again":
                self.choose_target(target)
            case "remark":
                self._remark(number)
            case "correct":
                self._correct(number, target, str(taken.value))

    def _correct(self, number: int, target: Target, was: str) -> None:
        system_v = self.session.desk.circuit.system_v
        self.app.push_screen(
            AskText(
                f"Correct reading {number}",
                f"{where(target)}. The first value stays in the record, struck out.",
                was,
                lambda text: read_typed(text, system_v, clamp=target.clamp is not None),
            ),
            lambda text: self._take(text, target, instead_of=number) if text is not None else None,
        )

    def _remark(self, number: int) -> None:
        def given(text: str | None) -> None:
            if text and self.record(Noted(text=text, reading=number)):
                self.say(f"Noted on reading {number}: {text}")

        check = partial(typed_text, most=LONG_TEXT_MOST)
        self.app.push_screen(AskText(f"Note on reading {number}", "What was seen or heard with it.", "", check), given)

    def action_out_of_reach(self) -> None:
        target, reach = self.target, self.session.state.out_of_reach
        circuit = self.session.desk.circuit
        points, posts = circuit.map.points, battery_posts(circuit)
        names = [name for name in (target.red, target.black) if name and name not in reach] if target else []
        # The posts last: without them the battery itself stays unread, so none is picked by Enter alone.
        names.sort(key=lambda name: name in posts)
        items = [Item(name, f"Can't reach: {points[name].label}", _UNREAD if name in posts else "") for name in names]
        items += [Item(name, f"Can reach it again: {points[name].label}") for name in sorted(reach)]
        if not items:
            self.say("No lead is placed at this step.")
            return

        def picked(ids: tuple[str, ...] | None) -> None:
            if ids:
                self.chosen = None
                event = OutOfReach(point=ids[0], reachable=ids[0] in reach)
                if self.record(event):
                    label = points[event.point].label
                    lost = f"The {label} can't be reached: tests on it are left out, and it is marked x."
                    if event.point in posts:
                        lost = f"{lost} {_NO_BATTERY}"
                    self.say(f"The {label} can be reached again." if event.reachable else lost)

        self.app.push_screen(Pick("Which point?", items, at_once=not names or names[0] not in posts), picked)

    def action_take_back(self) -> None:
        """What was chosen and is not on record first, then the last thing that is, whatever it was."""
        if self.chosen is not None or self.same_crank:
            self.chosen, self.same_crank = None, False
            self.say("Back at the step as it was. Nothing on record was taken back.")
            self.show()
        elif (deed := self.session.last_deed()) is None:
            self.say("There is nothing to take back: the job was only opened.")
        else:
            text = f"{capitalised(undone(deed))}.\nIt stays in the record and counts for nothing."
            self._sure("u", "Take back the last thing?", text, "take it back", self._take_back)

    def _take_back(self) -> None:
        before = self.session.state
        try:
            event = self.session.take_back()
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        state = self.session.state
        if self.bench is not None and (before.repairs, before.fits) != (state.repairs, state.fits):
            self.bench.set_back(self.session.desk, state.repairs)
        if event is not None:
            self.say(f"Taken back: {undone(event)}.")
        self.work_out()

    # Answers

    def _answer_typed(self, text: str) -> None:
        """The number of an answer, alone; anything else is no answer."""
        if len(text) == 1 and text in "123456789" and int(text) <= len(self.offered):
            self.action_choose(int(text))
        else:
            no = f"! `{text}` is no answer to this question, and no reading is asked for here."
            self.say(f"{no} Esc empties the line; then type one number, or m for a reading of your own.", of_line=True)

    def action_choose(self, number: int) -> None:
        """Give the answer with this number, which may be clicked too."""
        step = self.assessment.next if self.assessment else None
        if step is None or step.step is None or self.working or number > len(self.offered):
            return
        if not self.query_one(StepCard).offers(number):
            self.query_one(ReadingEntry).value = ""
            self.say("Only what you see can be answered by its number. Enter lists all answers.")
        else:
            self.answer(step.step, *self.offered[number - 1])

    def list_answers(self) -> None:
        """Every answer, however many there are, to be found by a few letters."""
        step = self.assessment.next.step if self.assessment else None
        if step is None or not self.offered:
            return
        labels = dict(self.offered)
        items = [Item(choice, label) for choice, label in self.offered]
        self.app.push_screen(
            Pick("Which is it?", items, at_once=False),
            lambda ids: self.answer(step, ids[0], labels[ids[0]]) if ids else None,
        )

    def answer(self, step: str, choice: str, label: str) -> None:
        """Put an answer on record."""
        text = self.session.desk.flow.steps[step]
        deeds = ["cranking"] if text.field == "symptom" else []

        def record() -> None:
            if self.record(Answered(step=step, choice=choice)):
                self.query_one(ReadingEntry).value = ""
                self.say(f"Answered: {label}")

        self.with_cautions(deeds, record) if deeds else record()

    # The demo's meter

    def action_demo_meter(self) -> None:
        if self.bench is None:
            self.say("This is a real job: the meter is in your hand. The demo has a simulated one.")
            return
        self.then(self._use_bench)

    def _use_bench(self) -> None:
        bench, step, target = self.bench, self.assessment.next if self.assessment else None, self.target
        if bench is None or step is None:
            return
        if target is not None:
            desk = self.session.desk
            self.with_cautions(target.deeds(desk.circuit.map), partial(self._fill_in, target))
        elif step.kind == "ask" and step.step is not None:
            choice = bench.answer(step.step)
            labels = dict(choices(self.session.desk, step))
            if choice in labels:
                self.answer(step.step, choice, labels[choice])

    def _fill_in(self, target: Target) -> None:
        if self.bench is None:
            return
        entry = self.query_one(ReadingEntry)
        entry.value = self.bench.read(target, same_crank=self.same_crank)
        entry.cursor_position = len(entry.value)
        self.say("The simulated meter shows this. Enter takes it.")

    # The crank timer

    def action_crank(self) -> None:
        def timed(seconds: float | None) -> None:
            if seconds:
                self.record(Cranked(seconds=round(min(seconds, 3600.0), 1)))
                rest = self.rest_s()
                advice = f"! Let the starter rest {clock(rest)}." if rest else "Type what the meter showed."
                self.say(f"Cranked {seconds:.0f} s. {advice}")

        def start() -> None:
            bell = self.app.settings.bell
            self.app.push_screen(CrankTimer(self.now, self.rest_s(), self.session.state.cranks, bell=bell), timed)

        self.with_cautions(["cranking"], start)
