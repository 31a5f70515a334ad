"""Home: which keys it offers, how its jobs are told apart, and the archive."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from driven import Bay, Open

from wizard.record.session import Session
from wizard.record.store import Store
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.help_page import HelpPage
from wizard.ui.job import JobScreen
from wizard.ui.keybar import KeyBar
from wizard.ui.tour import Tour
from wizard.walk.events import Complaint, Event, ReadingTaken, Repaired, StartSeen

NOON = datetime(2030, 5, 1, 12, tzinfo=UTC)
LONG = ReadingTaken(state="cranking", red="battery-positive-post", black="bulkhead-starter-lug", value=8.1)


def begin(store: Store, title: str = "Milk float", scenario: str | None = None) -> int:
    complaint = Complaint.model_validate({"circuit": "remote-battery", "symptom": "cranks-slowly"})
    return Session.create(store, title, complaint, scenario=scenario, now=lambda: NOON).job_id


JOINT = ("isolator-out-stud", "isolator-load-lug")
RUN, GROUND = ("battery-positive-post", "starter-b-stud"), ("starter-case", "battery-negative-post")
FIXED = Repaired(repair="clean-isolator-load-joint")


def held(span: tuple[str, str], volts: float) -> ReadingTaken:
    return ReadingTaken(state="cranking", red=span[0], black=span[1], value=volts)


SICK = [held(RUN, 1.16), held(GROUND, 0.14), held(JOINT, 0.69)]
WELL = [
    *(held(JOINT, 0.01), held(("battery-positive-post", "battery-negative-post"), 11.8), held(RUN, 0.48)),
    *(
        held(GROUND, 0.14),
        held(("starter-b-stud", "motor-stud"), 0.04),
        held(("battery-positive-post", "s-terminal"), 0.15),
    ),
]
FAILED_ONCE = StartSeen(good=False, engine="cold")


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ([FIXED], "not proved yet"),
        ([FIXED, held(JOINT, 0.68)], "did not help"),
        ([FIXED, held(JOINT, 0.68), FAILED_ONCE], "did not help"),
        ([FIXED, *WELL], "proved"),
        ([FIXED, *WELL, FAILED_ONCE], "failed again"),
        ([FIXED, *(held(RUN, 1.3) if reading.black == RUN[1] else reading for reading in WELL)], "another fault"),
    ],
)
async def test_a_repaired_job_says_how_it_stands(bay: Open, store: Store, events: list[Event], said: str) -> None:
    store.append(begin(store), NOON, *SICK, *events)
    async with bay() as driven:
        (line,) = [line for line in driven.shown().splitlines() if "Milk float" in line]
        assert line.split("Milk float")[1].strip().startswith(f"{said}  ")
        assert "repaired" not in line


async def test_a_repair_that_helped_is_proved_on_the_list_once_its_job_is_left(bay: Open, store: Store) -> None:
    number = begin(store)
    store.append(number, NOON, *SICK, FIXED)
    async with bay() as driven:
        assert "not proved yet" in driven.shown()
        await driven.press("enter")
        driven.job.session.record(*WELL)
        await driven.press("escape")
        assert " proved " in driven.shown()
        assert "not proved yet" not in driven.shown()


def keys(driven: Bay) -> str:
    """The lines of keys at the bottom, as they are shown."""
    bar = driven.app.screen.query_one(KeyBar).region
    return "\n".join(driven.shown().splitlines()[bar.y : bar.bottom])


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("jobs", [0, 1])
async def test_all_keys_are_there_from_the_first_screen_on(
    bay: Open, store: Store, size: tuple[int, int], jobs: int
) -> None:
    for _ in range(jobs):
        begin(store)
    async with bay(size=size) as driven:
        first = keys(driven)
        for offered in ("s settings", "? help", "q quit"):
            assert offered in first
        await driven.press("a", "escape")
        assert keys(driven) == first


async def test_only_keys_that_do_something_are_offered(bay: Open, store: Store) -> None:
    of_a_job = ("Enter open", "i starts", "x archive", "/ find")
    async with bay(size=(120, 40)) as driven:
        assert not [key for key in of_a_job if key in keys(driven)]
        begin(store)
        await driven.press("a", "escape")
        assert [key for key in of_a_job if key in keys(driven)] == list(of_a_job)
        await driven.press("slash", "z", "z", "enter")
        assert "No job has these letters" in driven.shown()
        assert "Enter open" not in keys(driven)
        assert "Esc all of them again" in keys(driven)
        await driven.press("escape")
        assert "Enter open" in keys(driven)


async def test_enter_opens_a_job_after_a_look_into_an_empty_archive(bay: Open, store: Store) -> None:
    begin(store)
    async with bay() as driven:
        await driven.press("z", "escape", "enter")
        assert isinstance(driven.app.screen, JobScreen)


async def test_escape_leaves_the_archive(bay: Open, store: Store) -> None:
    begin(store)
    async with bay() as driven:
        await driven.press("z")
        assert "The archive" in driven.shown()
        assert "Esc jobs at hand" in keys(driven)
        await driven.press("slash", "m", "escape")
        assert "The archive" in driven.shown()
        await driven.press("escape")
        assert "The archive" not in driven.shown()
        assert "Milk float" in driven.shown()


async def test_two_jobs_on_one_demo_are_told_apart(bay: Open, store: Store) -> None:
    numbers = [begin(store, "Parcel van", "parcel-van") for _ in range(2)]
    async with bay() as driven:
        lines = [line.split() for line in driven.shown().splitlines() if "demo: Parcel van" in line]
        assert [line[0] for line in lines] == [str(number) for number in reversed(numbers)]


async def test_the_last_reading_names_both_points_and_keeps_off_the_age(bay: Open, store: Store) -> None:
    store.append(begin(store), NOON, LONG)
    async with bay(size=(120, 40)) as driven:
        line = next(line for line in driven.shown().splitlines() if "Milk float" in line)
        assert "8.10 V batt.. to bulkhead starter..  " in line


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
async def test_a_long_list_has_a_line_for_each_job(
    bay: Open, store: Store, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]
) -> None:
    monkeypatch.setattr("wizard.ui.app.DropwalkApp.now", lambda _: NOON + timedelta(minutes=59))
    for _ in range(size[1]):
        store.append(begin(store, "Milk float that stood in the rain all winter", "parcel-van"), NOON, LONG)
    async with bay(size=size) as driven:
        lines = [line for line in driven.shown().splitlines() if "demo: Milk float" in line]
        assert len(lines) > size[1] / 2
        assert all("59 min ago" in line for line in lines)


async def test_the_question_mark_helps_on_a_page(bay: Open) -> None:
    async with bay() as driven:
        driven.app.show_tour()
        await driven.settle()
        assert isinstance(driven.app.screen, Tour)
        await driven.press("question_mark")
        assert isinstance(driven.app.screen, HelpPage)
        await driven.press("question_mark", "escape")
        assert isinstance(driven.app.screen, Tour)


async def test_the_question_mark_helps_on_the_cautions(bay: Open) -> None:
    async with bay("parcel-van") as driven:
        await driven.press("c", "question_mark")
        assert isinstance(driven.app.screen, HelpPage)
        await driven.press("escape")
        assert isinstance(driven.app.screen, CautionsPage)
