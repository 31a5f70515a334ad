"""Settings, pages and the finer ways of giving a reading."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Semaphore

import pytest
from driven import Bay, Open
from textual.widgets import Digits, Input, OptionList, Static

from wizard.files.settings import Layout, Light, Settings, Units, Way, read_settings
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.ui.app import DropwalkApp
from wizard.ui.crank import CrankTimer
from wizard.ui.entry import ReadingEntry
from wizard.ui.finding_page import FindingPage
from wizard.ui.glossary_page import GlossaryPage
from wizard.ui.help_page import HelpPage
from wizard.ui.home import HomeScreen
from wizard.ui.job import JobScreen
from wizard.ui.pick import Pick
from wizard.ui.readings_page import ReadingsPage
from wizard.ui.run_view import RunView
from wizard.ui.settings_page import SettingsPage, accuracy, parse_accuracy
from wizard.ui.tour import Tour
from wizard.ui.visit import Page
from wizard.walk import shifts
from wizard.walk.assessment import Finding
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, Complaint, Cranked, ReadingTaken
from wizard.walk.shifts import Move, Shift
from wizard.walk.state import JobState, Reading

DEMO = "parcel-van"


def last(driven: Bay) -> ReadingTaken:
    return driven.job.session.state.readings[-1].taken


# Readings


async def test_the_least_and_the_most_of_several_cranks_are_one_reading(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("0.8 0.9")
        assert (last(driven).value, last(driven).minimum, last(driven).maximum) == (pytest.approx(0.85), 0.8, 0.9)
        await driven.press("r")
        assert "0.80 to 0.90 V" in driven.shown()


async def test_readings_of_one_crank_share_its_number_and_others_do_not(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("0.87")
        own = last(driven).crank
        await driven.press("k")
        assert "same crank" in driven.shown()
        await driven.type("0.05")
        assert last(driven).crank == own
        await driven.type("0.04")
        assert last(driven).crank not in (own, None)


async def test_readings_are_marked_while_it_fails_until_told_otherwise(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("a", "a")
        assert "it fails now" in driven.shown()
        await driven.type("0.87")
        assert last(driven).acting_up is True
        # The walk itself may ask for readings while it fails; one of the user's own is marked only when told.
        await driven.press("a", "a", "m", "enter")
        await driven.type("starter case")
        await driven.type("engine block")
        await driven.type("0.01")
        assert last(driven).acting_up is None


@pytest.mark.parametrize(
    ("choice", "mark", "fails_on"), [(1, True, False), (2, True, True), (3, False, False)], ids=["once", "on", "not"]
)
async def test_a_reading_asked_for_while_it_fails_is_marked_only_as_told(
    bay: Open, choice: int, mark: bool, fails_on: bool
) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        # The only joint that made it fail: from here on readings are asked for while it does.
        driven.job.record(Answered(step="warm-it", choice="it-failed"))
        await driven.settle()
        assert driven.job.target is not None
        assert driven.job.wants_failing(driven.job.target)
        await driven.type("0.87")
        assert "did it fail while you read it?" in driven.shown()
        assert len(driven.job.session.state.readings) == 2
        # Enter alone marks nothing and takes nothing.
        await driven.press("enter")
        assert len(driven.job.session.state.readings) == 2
        await driven.press(*["down"] * choice, "enter")
        assert last(driven).acting_up is mark
        assert ("marked: while it failed" if mark else "marked: it did not fail") in driven.shown().replace("\n", " ")
        assert driven.job.session.state.fails_now is fails_on


async def test_a_reading_that_is_not_marked_says_so_where_it_comes_and_goes(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        assert "V; it does not fail now" in driven.shown()
        await driven.type("0.87")
        assert last(driven).acting_up is None
        await driven.press("a", "a")
        line = driven.shown().split("fails no more")[0].split("Reading")[1].splitlines()[0]
        assert "it does not fail now" not in line


async def test_a_corrected_reading_keeps_its_mark(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("a", "a")
        await driven.type("0.87")
        await driven.press("a", "a", "r", "c")
        driven.app.screen.query_one(Input).value = "0.85"
        await driven.press("enter")
        assert (last(driven).value, last(driven).acting_up) == (0.85, True)


@pytest.mark.parametrize(("choice", "taken"), [(0, True), (1, False), (2, False)])
async def test_the_whole_battery_across_a_drop_is_asked_about(bay: Open, choice: int, taken: bool) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.type("12.4")
        assert "most of the battery" in driven.shown()
        await driven.press(*["down"] * choice, "enter")
        assert (len(driven.job.session.state.readings) == 3) is taken
        assert driven.job.query_one(ReadingEntry).value == ""
        if taken:
            # The complaint comes and goes, and now it failed.
            assert last(driven).acting_up is True


async def test_a_remark_on_a_reading_is_kept_with_it(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("r", "up", "n")
        driven.app.screen.query_one(Input).value = "[b]cold[/] morning"
        await driven.press("enter")
        assert driven.job.session.state.readings[0].note == "[b]cold[/] morning"
        await driven.press("r")
        assert "[b]cold[/] morning" in driven.shown()


# Jumping and pointing


@pytest.mark.parametrize(
    ("letters", "page", "shown"),
    [
        ("reading 2", ReadingsPage, "11.60 V"),
        ("engine-bay-cable", Page, "35 mm2"),
        ("point bulkhead stud", Pick, "Black on bulkhead stud"),
    ],
)
async def test_anything_is_found_by_a_few_letters(bay: Open, letters: str, page: type, shown: str) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("j")
        await driven.type(letters)
        assert isinstance(driven.app.screen, page)
        assert shown in driven.shown()


async def test_a_jump_from_any_page_goes_by_way_of_the_job(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("w", "f1", "f2")
        assert isinstance(driven.app.screen, Pick)
        await driven.press("escape")
        assert isinstance(driven.app.screen, JobScreen)


async def test_pointing_moves_along_the_run_and_keeps_in_view(bay: Open) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        run = driven.job.query_one(RunView)
        await driven.press("down")
        assert run.pointed == "positive-clamp"
        await driven.press(*["down"] * 40)
        assert run.pointed == "start-switch"
        assert any(line.startswith(" >") for line in driven.shown().splitlines())
        await driven.press("p")
        assert "control side" in driven.shown()


async def test_the_motor_can_be_opened_too(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        driven.job.open_part("starter")
        await driven.settle()
        assert "between its own stud and its case" in driven.shown()


# Pages


async def test_the_volts_along_the_run_show_a_step_and_what_is_not_known(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        for value in ("0.87", "0.45"):
            await driven.type(value)
        await driven.press("v")
        lines = {line.strip().rsplit("  ", 1)[0][:24].strip(): line for line in driven.shown().splitlines()}
        assert "0.87 V" in lines["starter B stud"]
        assert lines["starter B stud"].rstrip().endswith("=o")
        assert "?" in lines["bulkhead stud"]
        assert ":" in lines["bulkhead stud"]


async def test_how_sure_tells_what_each_reading_did(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        await driven.type("0.87")
        await driven.press("h")
        shown = driven.shown()
        assert "3. 0.87 V" in shown
        assert "up from" in shown
        assert "What would change the answer" in shown


async def test_every_screen_has_help_of_its_own(bay: Open) -> None:
    async with bay() as driven:
        for keys, word in ((["f1"], "archive"), (["n", "f1"], "begin the job"), (["escape", "d", "f1"], "narrow")):
            await driven.press(*keys)
            assert isinstance(driven.app.screen, HelpPage)
            assert word in driven.shown()
            await driven.press("f1", "escape")
            assert not isinstance(driven.app.screen, HelpPage)
            if isinstance(driven.app.screen, Pick):
                await driven.press("escape")


async def test_the_glossary_narrows_by_letters(bay: Open) -> None:
    async with bay() as driven:
        await driven.press("g")
        await driven.pilot.press(*"solen")
        await driven.settle()
        assert isinstance(driven.app.screen, GlossaryPage)
        assert "magnetic switch" in driven.shown()
        assert "bulkhead stud" not in driven.shown()


async def test_a_finding_of_two_faults_names_both(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        assert driven.job.assessment is not None
        finding = Finding(
            repair="clean-positive-clamp",
            statement="The clamp loses 0.4 V.",
            also="A second fault is likely.",
            evidence=[2],
            cautions=[],
        )
        driven.job.assessment = driven.job.assessment.model_copy(update={"finding": finding})
        await driven.press("f")
        assert isinstance(driven.app.screen, FindingPage)
        assert "A second fault is likely." in driven.shown()


# Settings


async def test_the_way_of_working_is_remembered(bay: Open, tmp_path: Path) -> None:
    kept = tmp_path / "settings.yaml"
    async with bay(DEMO, settings_file=kept) as driven:
        await driven.at_positive_drop()
        await driven.press("b")
    assert read_settings(kept).plan is Way.FASTEST
    async with bay(settings=read_settings(kept), settings_file=kept) as later:
        await later.press("enter")
        assert later.job.plan is Way.FASTEST
        assert "best test" in later.shown()


async def test_settings_change_line_by_line_and_are_kept_at_once(bay: Open, tmp_path: Path) -> None:
    kept = tmp_path / "settings.yaml"
    async with bay(settings_file=kept) as driven:
        await driven.press("s")
        assert isinstance(driven.app.screen, SettingsPage)
        for _ in range(5):
            await driven.press("enter", "down")
        settings = read_settings(kept)
        assert settings == Settings(
            plan=Way.FASTEST, light=Light.LIGHT, units=Units.INCH, layout=Layout.LARGE, bell=True, tour_seen=True
        )
        await driven.press("enter")
        driven.app.screen.query_one(Input).value = "1 % + 3 mV"
        await driven.press("enter")
        meter = read_settings(kept).meter
        assert meter is not None
        assert (meter.share, meter.volts) == (pytest.approx(0.01), pytest.approx(0.003))
        assert accuracy(driven.app.settings) == "1 % + 3 mV"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1 %", "write it as"),
        ("5 mV", "write it as"),
        ("x % + 1 mV", "not a number"),
        ("50 % + 1 mV", "no such meter"),
        ("1 % + 3 A", "does not fit"),
    ],
)
def test_an_accuracy_that_no_meter_has_is_refused(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_accuracy(text)


async def test_a_meter_that_is_less_exact_makes_the_wizard_less_sure(bay: Open) -> None:
    sure: list[float] = []
    for settings in (Settings(tour_seen=True), Settings(tour_seen=True, meter=parse_accuracy("10 % + 200 mV"))):
        async with bay(DEMO, settings=settings) as driven:
            await driven.at_positive_drop()
            await driven.type("0.87")
            assert driven.job.assessment is not None
            sure.append(next(r.probability for r in driven.job.assessment.repairs if r.repair == "no-repair"))
    assert sure[1] > sure[0]


async def test_settings_that_can_not_be_kept_say_so_and_hold_all_the_same(bay: Open, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    async with bay(settings_file=tmp_path / "file" / "settings.yaml") as driven:
        await driven.press("ctrl+t")
        assert driven.app.settings.light is Light.LIGHT
        assert driven.app._notifications


async def test_the_tour_is_shown_once(bay: Open, tmp_path: Path) -> None:
    kept = tmp_path / "settings.yaml"
    async with bay(settings=Settings(), settings_file=kept) as driven:
        assert isinstance(driven.app.screen, Tour)
        for _ in range(5):
            await driven.press("enter")
        assert isinstance(driven.app.screen, HomeScreen)
    assert read_settings(kept).tour_seen


async def test_the_large_layout_shows_what_is_typed_in_big_figures(bay: Open) -> None:
    async with bay(DEMO, settings=Settings(tour_seen=True, layout=Layout.LARGE)) as driven:
        await driven.at_positive_drop()
        await driven.pilot.press("0", "full_stop", "8")
        await driven.settle()
        assert driven.job.query_one(Digits).value == "0.8"
        assert driven.job.query_one(Digits).region.height > 0
        assert not driven.job.query_one(RunView).display or driven.job.query_one(RunView).region.height == 0


async def test_the_spoken_layout_is_plain_lines(bay: Open) -> None:
    async with bay(DEMO, settings=Settings(tour_seen=True, layout=Layout.SPOKEN)) as driven:
        await driven.at_positive_drop()
        for keys in ([], ["v"], ["escape", "p"], ["escape", "j"], ["escape", "c"]):
            await driven.press(*keys)
            assert driven.shown().isascii(), keys
        await driven.press("escape")
        assert "Red lead here: battery positive post" in driven.shown() or "Black lead here" in driven.shown()


async def test_inches_and_fahrenheit_where_they_are_wanted(bay: Open) -> None:
    async with bay(DEMO, size=(160, 50), settings=Settings(tour_seen=True, units=Units.INCH)) as driven:
        await driven.at_positive_drop()
        assert "165 in 50 mm2" in driven.shown()
        assert "59 F" in driven.shown()


# Home


async def test_jobs_are_found_archived_and_put_back(bay: Open, store: Store) -> None:
    for title in ("Red tractor", "Blue boat"):
        Session.create(
            store,
            title,
            Complaint.model_validate({"circuit": "front-battery"}),
            now=lambda: datetime(2030, 5, 1, 9, tzinfo=UTC),
        )
    async with bay(size=(120, 40)) as driven:
        await driven.press("slash")
        await driven.pilot.press(*"tract")
        await driven.settle()
        assert "Red tractor" in driven.shown()
        assert "Blue boat" not in driven.shown()
        await driven.press("enter", "x")
        assert "No job has these letters" in driven.shown()
        await driven.press("escape", "z")
        assert "Red tractor" in driven.shown()
        assert "Blue boat" not in driven.shown()
        await driven.press("x")
        assert "archive is empty" in driven.shown()
        await driven.press("z")
        assert driven.app.screen.query_one("#jobs OptionList", OptionList).option_count == 2


async def test_the_odds_are_shown_at_once_and_what_readings_did_to_them_as_it_comes(
    bay: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    may_go_on = Semaphore(0)

    def slowly(_: Desk, __: JobState, readings: Sequence[Reading]) -> Iterator[Shift]:
        for reading in reversed(readings):
            may_go_on.acquire(timeout=10.0)
            yield Shift(reading, (Move("positive-clamp", "high-resistance", 0.1, 0.2),))

    async def page_of(driven: Bay, *, waiting: int) -> str:
        """The page once so many readings are still waited for."""
        for _ in range(500):
            page = driven.app.screen
            assert isinstance(page, Page)
            if str(page.text).count("working it out") == waiting:
                return str(page.text)
            await driven.pilot.pause(0.01)
        raise AssertionError(str(page.text))

    monkeypatch.setattr(shifts, "odds_shifts", slowly)
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.pilot.press("h")
        while not isinstance(driven.app.screen, Page):
            await driven.pilot.pause(0.01)
        begun = await page_of(driven, waiting=2)
        assert "Suspects now" in begun
        assert "What would change the answer" in begun
        may_go_on.release()
        half = await page_of(driven, waiting=1)
        assert half.index("working it out") < half.index("2. 11.60 V") < half.index("up from 0.10 to 0.20")
        may_go_on.release()
        assert (await page_of(driven, waiting=0)).count("up from 0.10 to 0.20") == 2


# The crank timer


async def test_the_bell_rings_when_to_read_to_let_go_and_after_the_rest(
    bay: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    rung: list[float] = []
    clock = [0.0]
    start = datetime(2030, 5, 1, 9, tzinfo=UTC)
    async with bay() as driven:
        monkeypatch.setattr(driven.app, "bell", lambda: rung.append(clock[0]))
        timer = CrankTimer(lambda: start + timedelta(seconds=clock[0]), rest_s=60, cranks=2, bell=True)
        driven.app.push_screen(timer)
        await driven.settle()
        assert "crank 3" in driven.shown()
        for at in (10, 59, 61, 62):
            clock[0] = at
            timer._tick()
        assert rung == [61]
        timer.action_press()
        for at in (66.5, 67.5, 80, 91.5, 93.5):
            clock[0] = at
            timer._tick()
        assert rung == [61, 67.5, 93.5]


async def test_the_crank_timer_says_when_its_seconds_are_over(bay: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [0.0]
    start = datetime(2030, 5, 1, 9, tzinfo=UTC)
    monkeypatch.setattr(DropwalkApp, "now", lambda _: start + timedelta(seconds=clock[0]))
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("t")
        await driven.press("enter")
        timer = driven.app.screen
        assert isinstance(timer, CrankTimer)
        clock[0] = 4.9
        timer._tick()
        await driven.settle()
        assert "s are over" not in driven.shown()
        clock[0] = 5.0
        timer._tick()
        await driven.settle()
        assert "5 s are over: read the meter and let go" in driven.shown()
        await driven.press("enter")
        assert "Cranked 5 s" in driven.shown()


async def test_enter_alone_does_not_end_the_rest_of_the_starter(bay: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [0.0]
    start = datetime(2030, 5, 1, 9, tzinfo=UTC)
    monkeypatch.setattr(DropwalkApp, "now", lambda _: start + timedelta(seconds=clock[0]))
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("t", "enter")
        clock[0] = 30.0
        await driven.press("enter", "t", "enter", "space", "enter")
        assert "Let the starter rest 2:00" in driven.shown()
        assert "Enter does nothing while it rests: a cranks all the same" in driven.shown()
        await driven.press("a")
        assert "Cranking" in driven.shown()
        clock[0] = 33.0
        await driven.press("enter", "t")
        clock[0] = 153.0
        await driven.press("enter")
        assert "Cranking" in driven.shown()
        clock[0] = 155.0
        await driven.press("enter")
        seen = driven.job.session.state.standing_events()
        assert [event.seconds for _, event in seen if isinstance(event, Cranked)] == [2, 3, 30]


async def test_of_several_cranks_the_least_and_the_most_are_shown(bay: Open) -> None:
    async with bay(DEMO, size=(120, 40)) as driven:
        await driven.at_positive_drop()
        await driven.type("0,82 to 0,90")
        told = str(driven.job.query_one("#said", Static).render())
        assert told.startswith("0.82 to 0.90 V")
        assert "reading 3, 0.82 to 0.90 V" in driven.shown()
        await driven.press("r")
        assert "0.82 to 0.90 V" in driven.shown()
