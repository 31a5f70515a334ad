"""Whole jobs and their turns, driven by the keyboard alone."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from driven import Bay, Open
from textual import events
from textual.widgets import Input, OptionList, Static

from wizard.circuit.map import Kind
from wizard.errors import DropwalkError
from wizard.files.settings import Layout, Settings
from wizard.lab.scenario import Scenario
from wizard.lab.vehicle import Vehicle
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.ui.app import run_app
from wizard.ui.ask_text import AskText
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.demos import demo
from wizard.ui.entry import ReadingEntry
from wizard.ui.finding_page import FindingPage
from wizard.ui.home import HomeScreen
from wizard.ui.job import JobScreen
from wizard.ui.pick import Pick
from wizard.ui.suspects_view import SuspectsView
from wizard.ui.target import Target
from wizard.ui.why_page import why_text
from wizard.walk.events import (
    CautionsRead,
    Complaint,
    Cranked,
    FailsNow,
    Jumped,
    MinutesLogged,
    Noted,
    Repaired,
    StartSeen,
)

DEMO = "parcel-van"
# A question of its walk with few answers.
LOOK = "turn-by-hand"


def now() -> datetime:
    return datetime(2030, 5, 1, 9, tzinfo=UTC)


def entry(bay: Bay) -> ReadingEntry:
    return bay.job.query_one(ReadingEntry)


def said(bay: Bay) -> str:
    return str(bay.job.query_one("#said", Static).render())


async def make_safe(bay: Bay) -> None:
    await bay.press("enter")
    assert isinstance(bay.app.screen, CautionsPage)
    await bay.confirm_cautions()
    assert bay.next_step != "make-safe"


async def test_a_demo_from_cautions_to_a_proved_repair(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        for _ in range(20):
            assert driven.job.assessment is not None
            if driven.job.assessment.next.kind == "repair":
                break
            await driven.press("d", "enter")
            await driven.confirm_cautions() if isinstance(driven.app.screen, CautionsPage) else None
            if isinstance(driven.app.screen, FindingPage):
                await driven.press("escape")
        finding = driven.job.assessment.finding
        assert finding is not None
        assert finding.repair == "clean-isolator-load-joint"
        await driven.press("f")
        assert "Clean and tighten the load lug" in driven.shown()
        await driven.confirm_cautions()
        assert driven.job.session.state.repairs == ("clean-isolator-load-joint",)
        for _ in range(12):
            if driven.job.assessment.next.kind == "finish":
                break
            await driven.press("d", "enter")
        assert driven.job.assessment.next.kind == "finish"


async def test_a_real_job_from_intake_to_finding(bay: Open, store: Store) -> None:
    scenario = Scenario.model_validate(
        {
            "scenario": "under-test",
            "title": "Under test",
            "story": "Made for this test.",
            "circuit": "front-battery",
            "symptom": "one-click",
            "hidden": [{"part": "b-stud-joint", "excess": "20 mohm"}],
        }
    )
    async with bay() as driven:
        assert isinstance(driven.app.screen, HomeScreen)
        await driven.press("n", "enter")
        await driven.type("Farm truck 12")
        await driven.press("down", "down", "down", "down", "enter")
        await driven.type("one click")
        await driven.press("s")
        complaint = driven.job.session.state.complaint
        assert complaint is not None
        assert (driven.job.session.state.title, complaint.symptom) == ("Farm truck 12", "one-click")
        desk = driven.job.session.desk
        vehicle = Vehicle(scenario, desk.circuit, np.random.default_rng(1), noise=False)
        await make_safe(driven)
        for _ in range(20):
            assert driven.job.assessment is not None
            step, target = driven.job.assessment.next, driven.job.target
            if step.kind == "repair":
                break
            if target is not None:
                await driven.type(f"{vehicle.read(target.observable):.2f}")
                if isinstance(driven.app.screen, CautionsPage):
                    await driven.confirm_cautions()
            else:
                answer = vehicle.answer(step.step or "", desk.flow.steps[step.step or ""])
                await driven.press(str((step.choices or []).index(answer) + 1))
        assert driven.job.assessment.finding is not None
        assert driven.job.assessment.finding.repair == "clean-b-stud-joint"
    assert store.jobs()[0].readings >= 3


async def test_nothing_is_cranked_before_the_cautions_are_confirmed(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.press("m", "enter")
        await driven.type("starter case")
        await driven.type("engine block")
        assert isinstance(driven.app.screen, CautionsPage)
        await driven.press("escape")
        assert driven.job.chosen is None
        assert driven.job.session.state.cautions_read == frozenset()
        await driven.press("t")
        assert isinstance(driven.app.screen, CautionsPage)
        await driven.press("escape")
        assert driven.job.session.state.cranks == 0


@pytest.mark.parametrize("layout", [Layout.USUAL, Layout.SPOKEN])
async def test_the_cautions_are_paged_and_their_last_page_says_what_enter_means(bay: Open, layout: Layout) -> None:
    async with bay(DEMO, settings=Settings(layout=layout, tour_seen=True)) as driven:
        await driven.press("enter")
        pages = 0
        while isinstance(driven.app.screen, CautionsPage):
            pages += 1
            shown = driven.shown()
            assert f"Page {pages} of 3" in shown
            assert ("Enter says: I have read all of these" in shown) is (pages == 3)
            assert ("Enter I have read and done all of these" in shown) is (pages == 3)
            assert driven.job.session.state.cautions_read == frozenset()
            await driven.press("enter")
        assert pages == 3
        assert driven.job.session.state.cautions_read


async def test_the_keys_of_the_job_are_not_shown_under_a_box(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        assert "Esc home" in driven.shown()
        await driven.press("j")
        assert "Esc home" not in driven.shown()
        await driven.press("escape")
        assert "Esc home" in driven.shown()


async def test_a_jump_does_not_lead_around_the_cautions(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.press("j")
        await driven.type("positive-side")
        assert driven.job.session.state.jumped_to == "positive-drop"
        assert "The cautions come first" in said(driven)
        await driven.type("0.6")
        assert driven.job.session.state.readings == ()


async def test_cautions_once_confirmed_are_not_asked_again(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        read = driven.job.session.state.cautions_read
        await driven.type("0.8")
        assert isinstance(driven.app.screen, JobScreen)
        assert driven.job.session.state.cautions_read == read


async def test_swapped_leads_are_taken_as_positive_only_once_confirmed(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("-0.8")
        assert isinstance(driven.app.screen, AskText)
        assert "swapped" in driven.shown()
        await driven.press("escape")
        assert len(driven.job.session.state.readings) == 2
        assert entry(driven).value == "-0.8"
        await driven.press("enter", "enter")
        assert driven.job.session.state.readings[-1].taken.value == pytest.approx(0.8)


async def test_a_value_typed_at_a_question_takes_the_place_of_the_one_asked_about(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("-0.8")
        await driven.type("0.6")
        assert [reading.taken.value for reading in driven.job.session.state.readings][2:] == [0.6]
        await driven.press("u", "u")
        # The whole battery is asked about as well.
        await driven.type("12.4")
        await driven.type("0.5")
        assert [reading.taken.value for reading in driven.job.session.state.standing][2:] == [0.5]


@pytest.mark.parametrize("asked", ["12600", "-12.5", "12.4"])
async def test_bad_text_at_a_question_confirms_nothing(bay: Open, asked: str) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type(asked)
        page = driven.app.screen
        for text in ("twelve", "1.2.3"):
            page.query_one(Input).value = ""
            await driven.type(text)
            assert driven.app.screen is page
        assert len(driven.job.session.state.readings) == 2


@pytest.mark.parametrize(("state", "volts"), [("resting", "1.12"), ("cranking", "0.02"), ("cranking", "0.02-0.05")])
@pytest.mark.parametrize(("choice", "taken"), [(0, 1), (1, 0)])
async def test_a_drop_where_battery_volts_are_asked_for_is_asked_about(
    bay: Open, state: Literal["resting", "cranking"], volts: str, choice: int, taken: int
) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        posts = ("battery-positive-post", "battery-negative-post")
        driven.job.record(CautionsRead(cautions=list(driven.job.session.desk.cautions.cautions)))
        driven.job.choose_target(Target(state, *posts, chosen=True))
        await driven.settle()
        await driven.type(volts)
        assert "hardly a battery's volts" in driven.shown()
        assert driven.job.session.state.readings == ()
        await driven.press(*["down"] * choice, "enter")
        assert len(driven.job.session.state.readings) == taken


async def test_a_battery_does_not_read_open(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.type("open")
        assert "A battery is read in volts" in driven.shown()
        assert driven.job.session.state.readings == ()
        assert isinstance(driven.app.screen, JobScreen)


@pytest.mark.parametrize(("keys", "taken"), [(["enter"], 1), (["down", "down", "enter"], 2)])
async def test_a_battery_that_rises_under_load_is_asked_about(bay: Open, keys: list[str], taken: int) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.type("12.40")
        await driven.type("12-13")
        assert "more than the 12.40 V at rest" in driven.shown()
        await driven.press(*keys)
        assert len(driven.job.session.state.readings) == taken


async def test_the_cautions_of_a_question_come_up_before_it(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        driven.job.record(Jumped(step=LOOK))
        await driven.settle()
        assert isinstance(driven.app.screen, CautionsPage)
        assert "Turning an engine by hand" in driven.shown()
        # Not yet: the step waits, and asks for nothing but its caution.
        await driven.press("escape")
        assert driven.job.offered == []
        assert "reads the caution" in driven.shown()
        await driven.press("enter", "enter")
        assert len(driven.job.offered) == 3


async def test_the_why_page_says_nothing_twice(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await at_looking(driven)
        assessment = driven.job.assessment
        assert assessment is not None
        reason = driven.job.session.desk.flow.steps[LOOK].why
        longer = assessment.next.model_copy(update={"why": f"Look at the lug. {reason} In all about 9 minutes."})
        asked = assessment.model_copy(update={"next": longer})
        said = why_text(driven.job.session.desk, asked, short=False, lessons=True).plain
        assert said.count(reason) == 1


async def at_looking(driven: Bay) -> None:
    """At a question whose answers are few enough to be seen."""
    driven.job.record(CautionsRead(cautions=list(driven.job.session.desk.cautions.cautions)), Jumped(step=LOOK))
    await driven.settle()
    assert len(driven.job.offered) < 9


@pytest.mark.parametrize("text", ["0.12", "7.35", "12", "0", "9", "open", "1 V"])
async def test_a_reading_typed_at_a_question_is_no_answer(bay: Open, text: str) -> None:
    async with bay(DEMO) as driven:
        await at_looking(driven)
        await driven.type(text)
        assert "no answer to this question" in said(driven)
        assert driven.job.session.state.answers == {}
        await driven.press(*["backspace"] * len(text))
        # What was said of the line goes with what was in it.
        assert said(driven) == ""


async def test_a_number_alone_answers_once_enter_confirms_it(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await at_looking(driven)
        choice, label = driven.job.offered[1]
        assert f"1-{len(driven.job.offered)} answer" in driven.shown()
        await driven.press("2")
        assert driven.job.session.state.answers == {}
        assert label[:40] in driven.shown().splitlines()[9]
        await driven.press("enter")
        assert driven.job.session.state.answers == {LOOK: choice}
        assert entry(driven).value == ""


async def test_enter_alone_lists_the_answers_of_a_question(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await at_looking(driven)
        await driven.press("enter")
        assert "Which is it?" in driven.shown()
        # An answer is evidence: Enter and Enter once more gives none.
        await driven.press("enter")
        assert driven.job.session.state.answers == {}
        first, _ = driven.job.offered[0]
        await driven.press("down", "enter")
        assert driven.job.session.state.answers == {LOOK: first}


async def test_a_wrong_entry_says_what_to_type_and_stays(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("0.5 A")
        assert said(driven).startswith("!")
        assert entry(driven).value == "0.5 A"
        assert len(driven.job.session.state.readings) == 2


async def test_letters_are_keys_until_a_number_is_begun(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("w")
        assert not isinstance(driven.app.screen, JobScreen)
        await driven.press("escape", "7", "0", "0", "m")
        assert isinstance(driven.app.screen, JobScreen)
        assert entry(driven).value == "700m"
        await driven.press("V", "enter")
        assert driven.job.session.state.readings[-1].taken.value == pytest.approx(0.7)


@pytest.mark.parametrize("word", ["abc", "unsure", "auto", "a7"])
async def test_a_word_in_the_reading_line_puts_nothing_on_record(bay: Open, word: str) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        before = driven.job.session.seq
        await driven.press(*word)
        assert driven.job.session.seq == before
        if isinstance(driven.app.screen, JobScreen) and entry(driven).value:
            assert entry(driven).value == word
            await driven.press("enter")
            assert said(driven).startswith("!")
        assert driven.job.session.seq == before


@pytest.mark.parametrize("word", ["abc", "volts", "rt", "w0.8", "none"])
async def test_letters_that_come_at_once_are_text_and_no_command(bay: Open, word: str) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        before = driven.job.session.seq
        for character in word:
            driven.app.post_message(events.Key(character, character))
        await driven.settle()
        assert isinstance(driven.app.screen, JobScreen)
        assert entry(driven).value == word
        await driven.press("escape", "w")
        assert not isinstance(driven.app.screen, JobScreen)
        assert driven.job.session.seq == before


async def test_what_is_pasted_is_text_and_a_key_before_enter_still_works(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        driven.app.post_message(events.Paste("u a x"))
        await driven.settle()
        assert entry(driven).value == "u a x"
        await driven.press("escape")
        driven.app.post_message(events.Key("d", "d"))
        driven.app.post_message(events.Key("enter", "\r"))
        await driven.settle()
        assert len(driven.job.session.state.readings) == 3


async def test_letters_in_a_row_come_first_in_a_list(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("j")
        for character in "b stud":
            await driven.press("space" if character == " " else character)
        page = driven.app.screen
        assert isinstance(page, Pick)
        option = page.query_one(OptionList).highlighted_option
        assert option is not None
        assert "b stud" in str(option.prompt).lower()


@pytest.mark.parametrize("text", ["open", "120mV", "700 mV", "0.4 0.9", ".35v", "o"])
async def test_what_is_typed_at_once_keeps_its_order(bay: Open, text: str) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        for character in text:
            driven.app.post_message(events.Key(character, character))
        await driven.settle()
        assert entry(driven).value == text
        # What was begun is over: a letter is a key again.
        await driven.press("escape", "w")
        assert not isinstance(driven.app.screen, JobScreen)


async def test_keys_that_come_at_once_answer_no_question(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.press("j")
        await driven.type("move each joint")
        for character in "12":
            driven.app.post_message(events.Key(character, character))
        await driven.settle()
        assert entry(driven).value == "12"
        await driven.press("enter")
        assert "no answer to this question" in said(driven)
        assert driven.job.session.state.answers == {}


async def test_whatever_is_on_record_is_taken_back_in_its_turn_and_said(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        driven.job.record(
            Noted(text="lug was hot"),
            FailsNow(fails=True),
            Cranked(seconds=31.0),
            MinutesLogged(minutes=25),
            StartSeen(good=False, engine="cold", times=3),
        )
        await driven.settle()
        assert driven.job.rest_s() > 0
        for words in ("3 failed starts", "25 min of labour", "timed crank of 31 s", "it fails now", "lug was hot"):
            await driven.press("u")
            assert words in driven.shown()
            await driven.press("enter")
            assert words in said(driven)
        assert driven.job.rest_s() == 0
        state = driven.job.session.state
        assert (state.notes, state.cranks, state.fails_now, len(state.standing)) == ((), 0, False, 2)


async def test_jumping_goes_to_the_step_and_is_recorded(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.press("j")
        await driven.type("ground-side")
        assert driven.next_step == "ground-drop"
        assert driven.job.session.state.jumped_to == "ground-drop"


async def test_an_answer_out_of_sight_is_given_from_the_list_and_not_by_its_number(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.press("j")
        await driven.type("move each joint")
        step = driven.job.assessment
        assert step is not None
        offered = step.next.choices or []
        assert len(offered) > 9
        await driven.press("9", "enter")
        assert "Enter lists all" in said(driven)
        assert driven.job.session.state.answers == {}
        await driven.press("enter")
        await driven.type("heavy ground strap")
        assert driven.job.session.state.answers == {"wiggle": "engine-strap"}


async def test_a_repair_is_taken_back_and_the_made_up_vehicle_with_it(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("0.87")
        job = driven.job
        assert job.bench is not None
        job.record(Repaired(repair="clean-isolator-load-joint"))
        job.bench.repair("clean-isolator-load-joint", job.session.desk.circuit)
        await driven.settle()
        target = Target("cranking", "isolator-out-stud", "isolator-load-lug")
        assert float(job.bench.read(target, same_crank=False)) < 0.05
        await driven.press("u", "u")
        assert "the repair clean isolator load joint" in said(driven)
        assert job.session.state.repairs == ()
        assert float(job.bench.read(target, same_crank=False)) > 0.1


async def test_the_card_says_which_lead_stays_and_what_a_floor_asks_for(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.type("12.54")
        assert "12.54 V" in said(driven)
        assert "at least 12.40 V" in said(driven)
        await driven.type("11.6")
        shown = driven.shown()
        assert "battery positive post: leave it there" in shown
        assert "starter B stud: move it here" in shown


async def test_a_doubted_reading_is_asked_for_again_by_its_number(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        assert driven.job.assessment is not None
        step = driven.job.assessment.next.model_copy(update={"again": 3, "why": "Reading 3 (0.86 V) does not fit."})
        driven.job.assessment = driven.job.assessment.model_copy(update={"next": step})
        driven.job.show()
        await driven.settle()
        assert "Read it again" in driven.shown()
        assert "Reading 3 (0.86 V) does not fit." in driven.shown()


async def test_a_long_warning_says_where_the_rest_of_it_is(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        driven.job.say("! " + "These two readings can't both be right. " * 10)
        await driven.settle()
        assert "w shows the rest of this." in driven.shown()


async def test_what_was_put_in_for_a_new_job_waits_for_the_next_time(bay: Open) -> None:
    async with bay() as driven:
        await driven.press("n", "enter")
        await driven.type("Farm truck 12")
        await driven.press("escape")
        assert isinstance(driven.app.screen, HomeScreen)
        await driven.press("n")
        assert "Farm truck 12" in driven.shown()
        await driven.press("x")
        assert "Farm truck 12" not in driven.shown()
        await driven.press("escape", "n")
        assert "what you put in before" not in driven.shown()


async def test_a_list_without_a_match_says_so_and_goes_on(bay: Open) -> None:
    async with bay() as driven:
        await driven.press("d", *"zzz")
        assert "Nothing here has these letters" in driven.shown()
        await driven.press("enter", "backspace", "backspace", "backspace")
        assert "Nothing here has these letters" not in driven.shown()
        await driven.type("hay")
        assert "clicks once" in driven.shown()
        # Any letter goes on from the story.
        await driven.press("w")
        assert isinstance(driven.app.screen, CautionsPage)


async def test_the_last_reading_can_be_taken_back(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("0.87")
        await driven.press("u", "u")
        assert "0.87 V" in said(driven)
        assert driven.job.session.state.readings[-1].struck
        assert driven.next_step == "positive-drop"


async def test_any_reading_can_be_corrected_and_the_first_value_stays_on_record(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("r", "up", "c")
        await driven.type("12.7")
        readings = driven.job.session.state.readings
        assert [reading.struck for reading in readings] == [True, False, False]
        assert readings[0].taken.value == pytest.approx(12.5)
        assert readings[-1].taken.value == pytest.approx(12.7)
        assert readings[-1].taken.state == "resting"


async def test_a_reading_of_ones_own_between_any_two_points(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.press("m", "enter")
        await driven.type("starter case")
        await driven.type("engine block")
        assert "Your own reading" in driven.shown()
        await driven.type("0.02")
        if isinstance(driven.app.screen, CautionsPage):
            await driven.confirm_cautions()
        taken = driven.job.session.state.readings[-1].taken
        assert (taken.red, taken.black, taken.state) == ("starter-case", "engine-block", "cranking")
        assert driven.job.chosen is None


async def test_a_clamp_is_offered_cables_and_straps_alone(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.press("m")
        await driven.type("clamp meter")
        page = driven.app.screen
        assert isinstance(page, Pick)
        parts = driven.job.session.desk.circuit.map.parts
        assert page.items
        assert {parts[item.id].kind for item in page.items} <= {Kind.CABLE, Kind.STRAP}


async def test_escape_steps_back_one_thing_at_a_time(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await make_safe(driven)
        await driven.press("m", "enter")
        await driven.type("starter case")
        await driven.type("engine block")
        await driven.press("1", "2")
        await driven.press("escape")
        assert entry(driven).value == ""
        assert driven.job.chosen is not None
        await driven.press("escape")
        assert driven.job.chosen is None
        await driven.press("escape")
        assert isinstance(driven.app.screen, HomeScreen)


async def test_a_job_left_is_found_again_where_it_was(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        before = driven.job.session.state
        await driven.press("escape", "enter")
        assert driven.next_step == "positive-drop"
        assert driven.job.session.state == before
    async with bay() as later:
        await later.press("enter")
        assert later.next_step == "positive-drop"
        assert later.job.session.state == before
        assert later.job.bench is not None


@pytest.mark.parametrize("looked_for", [(), ("slash", "o", "l", "d", "enter"), ("z",)])
async def test_the_bar_at_home_is_on_the_job_just_left(bay: Open, store: Store, looked_for: tuple[str, ...]) -> None:
    for title in ("Old one", "Older one"):
        Session.create(store, title, Complaint(circuit="remote-battery"), now=now)
    async with bay() as driven:
        await driven.press("enter")
        opened = driven.job.session.job_id
        await driven.press("escape", *looked_for, "n", "enter")
        await driven.type("Farm truck 12")
        await driven.press("s", "escape", "escape")
        assert isinstance(driven.app.screen, HomeScreen)
        await driven.press("enter")
        assert driven.job.session.state.title == "Farm truck 12"
        assert driven.job.session.job_id != opened


async def test_the_two_ways_of_working_are_one_key_apart(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        walk = driven.job.assessment
        await driven.press("b")
        assert driven.job.plan == "fastest"
        await driven.press("b")
        assert driven.job.plan == "walk"
        assert driven.job.assessment == walk


async def test_a_step_jumped_to_is_not_called_the_best_test(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        driven.job.record(Jumped(step="ground-drop"))
        await driven.settle()
        await driven.press("b")
        assert driven.next_step == "ground-drop"
        assert "the step you jumped to" in said(driven)
        assert "tells most" not in said(driven)


async def test_a_point_out_of_reach_is_not_asked_for(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        await driven.press("x")
        await driven.type("starter B stud")
        assert driven.job.session.state.out_of_reach == {"starter-b-stud"}
        assert "The starter B stud can't be reached" in said(driven)
        assert "x starter B stud".lower() in driven.shown().lower()
        target = driven.job.target
        assert target is None or "starter-b-stud" not in (target.red, target.black)


@pytest.mark.parametrize("enough", [True, False])
async def test_the_heading_of_the_suspects_takes_one_line(bay: Open, enough: bool) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        view, assessment = driven.job.query_one(SuspectsView), driven.job.assessment
        assert assessment is not None
        view.show(assessment.model_copy(update={"enough": enough}))
        await driven.settle()
        rows = [line[view.region.x :] for line in driven.shown().splitlines()]
        heading = next(number for number, row in enumerate(rows) if "SUSPECTS" in row)
        assert f"{assessment.suspects[0].probability:.2f}" in rows[heading + 1]


async def test_a_battery_post_out_of_reach_is_offered_last_with_what_follows(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("x")
        offered = [line for line in driven.shown().splitlines() if "Can't reach" in line]
        assert ["battery positive post" in line for line in offered] == [False, True]
        assert "the battery stays unread then" in offered[1]
        assert "the battery stays unread then" not in offered[0]
        await driven.type("battery positive")
        assert driven.job.session.state.out_of_reach == {"battery-positive-post"}
        assert "battery's own volts and the joint on this post stay unread" in said(driven)
        await driven.press("x")
        await driven.type("again")
        assert not driven.job.session.state.out_of_reach


async def test_enter_alone_picks_no_post_of_the_battery_where_only_they_are_offered(bay: Open) -> None:
    async with bay(DEMO) as driven:
        driven.job.record(CautionsRead(cautions=list(driven.job.session.desk.cautions.cautions)))
        await driven.settle()
        assert driven.next_step == "battery-resting"
        await driven.press("x", "enter")
        assert not driven.job.session.state.out_of_reach
        assert "the battery stays unread then" in driven.shown()


async def test_a_timed_crank_is_recorded_and_a_long_one_asks_for_rest(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        clock = iter(datetime(2030, 5, 1, 9, 0, s, tzinfo=UTC) for s in range(60))
        driven.job.now = lambda: next(clock)
        driven.job.session._now = lambda: datetime(2030, 5, 1, 9, 0, 40, tzinfo=UTC)
        await driven.press("t", "enter")
        driven.app.screen._now = lambda: datetime(2030, 5, 1, 9, 0, 59, tzinfo=UTC)  # pyright: ignore
        await driven.press("enter")
        assert driven.job.session.state.cranks == 1
        assert driven.job.session.state.crank_seconds > 30
        assert "rest" in said(driven)


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (160, 50)])
async def test_step_entry_suspects_and_leads_are_all_in_sight(bay: Open, size: tuple[int, int]) -> None:
    async with bay(DEMO, size=size) as driven:
        await driven.at_positive_drop()
        await driven.type("0.87")
        await driven.type("0.15")
        shown = driven.shown()
        for text in ("Split the positive side", "Red", "Black", "Reading", "isolator load joint", "lost", "Esc"):
            assert text in shown
        lines = [line.lstrip() for line in shown.splitlines()]
        assert any(line.startswith("R ") for line in lines)
        assert any(line.startswith("B ") for line in lines)


async def test_resizing_in_the_middle_keeps_what_was_typed(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        await driven.pilot.press("0", "full_stop", "8")
        for size in ((80, 24), (40, 12), (160, 50), (80, 24)):
            await driven.pilot.resize_terminal(*size)
            await driven.settle()
        assert entry(driven).value == "0.8"
        assert entry(driven).has_focus
        await driven.press("7", "enter")
        assert driven.job.session.state.readings[-1].taken.value == pytest.approx(0.87)


@pytest.mark.parametrize("title", ["Van [bold]red[/]", "[@click=app.quit]x[/]", "a$b [/", "50% off [link=x]"])
async def test_titles_are_shown_as_they_are_and_never_as_markup(bay: Open, store: Store, title: str) -> None:
    Session.create(store, title, Complaint.model_validate({"circuit": "front-battery"}), now=now)
    async with bay() as driven:
        assert title in driven.shown()
        await driven.press("enter")
        assert title in driven.shown()


async def test_a_note_with_markup_is_kept_as_typed(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.press("n")
        driven.app.screen.query_one(Input).value = "[red]lug[/] was hot"
        await driven.press("enter")
        assert driven.job.session.state.notes == ("[red]lug[/] was hot",)


async def test_the_complaint_can_be_put_differently_but_not_onto_another_circuit(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("e", "down", "enter")
        assert "new job" in driven.shown()
        await driven.press(*["down"] * 8, "enter")
        await driven.type("-5 C")
        await driven.press("s")
        complaint = driven.job.session.state.complaint
        assert complaint is not None
        assert complaint.air == -5.0
        assert len(driven.job.session.state.standing) == 2


async def test_an_answer_that_fails_leaves_the_job_open(bay: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()

        def broken(plan: str) -> None:
            raise ArithmeticError(f"no answer for {plan}")

        monkeypatch.setattr(driven.job.session, "assess", broken)
        await driven.type("0.9")
        assert "could not be worked out" in said(driven)
        assert driven.job.session.state.readings[-1].taken.value == pytest.approx(0.9)


async def test_every_visit_is_left_with_escape_and_changes_nothing(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        before = driven.job.session.seq
        for key in ("j", "w", "c", "f", "r", "l", "t", "x", "n", "e", "m", "question_mark"):
            await driven.press(key)
            assert not isinstance(driven.app.screen, JobScreen), key
            await driven.press("escape")
            assert isinstance(driven.app.screen, JobScreen), key
        assert driven.job.session.seq == before


@pytest.mark.parametrize("name", ["parcel-van", "day-boat", "hay-tractor"])
def test_every_demo_loads(name: str) -> None:
    scenario, desk = demo(name)
    assert scenario.circuit == desk.circuit.map.circuit


def test_a_demo_that_is_not_there_is_refused_before_any_screen(tmp_path: Path) -> None:
    with pytest.raises(DropwalkError, match="parcel-van"):
        run_app(tmp_path / "jobs.sqlite3", "no-such-demo")


async def test_a_demo_that_can_not_be_opened_says_so_at_home(bay: Open) -> None:
    async with bay("no-such-demo") as driven:
        assert isinstance(driven.app.screen, HomeScreen)
        assert "no demo 'no-such-demo'" in driven.shown()


async def test_a_job_whose_map_is_gone_says_so_at_home(bay: Open, store: Store, tmp_path: Path) -> None:
    shipped = Path(__file__).parents[2] / "flows" / "circuits" / "front-battery.yaml"
    own = tmp_path / "own.yaml"
    own.write_text(shipped.read_text())
    Session.create(store, "Own map", Complaint.model_validate({"circuit": str(own)}), now=now)
    own.unlink()
    async with bay() as driven:
        await driven.press("enter")
        assert isinstance(driven.app.screen, HomeScreen)
        assert "!" in driven.shown()
