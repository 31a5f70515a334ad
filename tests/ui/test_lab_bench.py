"""The bench played by keys alone: from the story to the hand-in, and its mark."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from driven import Open
from test_looks import readable
from textual.binding import Binding
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widgets import Input, Static

from tests.lab.shipped import set_exercise
from wizard.lab.attempt import Attempt
from wizard.lab.deeds import Concluded, Helped, Probed
from wizard.lab.exercise import Feedback
from wizard.lab.given import Given, answer_at_once
from wizard.lab.handin import read_handin
from wizard.lab.marking import Marker
from wizard.lab.sealing import seal
from wizard.record.store import Store
from wizard.ui.cautions_page import CautionsPage
from wizard.ui.confirm import Confirm
from wizard.ui.job import JobScreen
from wizard.ui.lab_bench import BenchApp, BenchScreen
from wizard.ui.pick import Pick
from wizard.ui.visit import Page

LOOKS = Path(__file__).parent / "looks"


def bench(app: BenchApp) -> BenchScreen:
    return next(screen for screen in app.screen_stack if isinstance(screen, BenchScreen))


def page_text(app: BenchApp) -> str:
    assert isinstance(app.screen, Page)
    return str(app.screen.text)


async def press(pilot: Pilot[Any], *keys: str) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()


async def go_to(pilot: Pilot[Any], app: BenchApp, point: str) -> None:
    """Move the bar to a point as a student does."""
    screen = bench(app)
    wanted = next(n for n, row in enumerate(screen.rows) if row.point == point)
    while (at := screen.rows.index(screen.here)) != wanted:
        await pilot.press("down" if at < wanted else "up")


async def measure(pilot: Pilot[Any], app: BenchApp, red: str, black: str, key: str = "h") -> None:
    for point, lead in ((red, "r"), (black, "b")):
        await go_to(pilot, app, point)
        await press(pilot, lead)
    await press(pilot, key)


async def past_the_story(pilot: Pilot[Any], app: BenchApp) -> None:
    await pilot.pause()
    await press(pilot, "escape")
    for _ in range(40):
        if isinstance(app.screen, BenchScreen):
            return
        await press(pilot, "enter")
    raise AssertionError("the cautions could not be confirmed")


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_an_exercise_is_played_to_its_hand_in(tmp_path: Path, size: tuple[int, int]) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. <b>Learner", tmp_path)
    async with app.run_test(size=size) as pilot:
        await past_the_story(pilot, app)
        await measure(pilot, app, "battery-positive-post", "starter-b-stud")
        await measure(pilot, app, "starter-case", "battery-negative-post")
        shown = str(app.screen.query_one("#display", Static).render())
        assert shown.startswith("2.")
        await press(pilot, "d", *"ground", "enter")
        await measure(pilot, app, "negative-clamp-body", "battery-negative-post")
        await press(pilot, "z", *"negative", "space", *"clamp", "enter")
        await measure(pilot, app, "starter-case", "battery-negative-post")
        await press(pilot, "a", *"negative", "space", "enter")
        await press(pilot, "down", "down", "space", "enter")
        await press(pilot, *"it", "space", *"loses", "space", *"most", "space", *"there", "enter")
        assert bench(app).attempt.answered
        # Nothing is handed in before it is confirmed, and all of it is on disk already.
        assert [path.name for path in tmp_path.iterdir()] == ["a-b-learner.first-clamp.draft.json"]
        await press(pilot, "i", "enter")
        told = page_text(app)
        assert told.startswith("Handed in as a-b-learner.first-clamp.handin.json\nin the folder")
        assert str(tmp_path) in told
        assert "100 of 100 points" in told
        assert "YOURS           BEST" in told
        await press(pilot, "escape")
    [file] = tmp_path.iterdir()
    handin = read_handin(file)
    assert file.name == "a-b-learner.first-clamp.handin.json"
    assert handin.student == "A. <b>Learner"
    marked = Marker(exercise, desk).mark(handin)
    assert marked.total == 100, marked.marks


async def test_a_sealed_or_served_exercise_keeps_its_answer_after_the_hand_in(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path, answers=False)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        # The cautions are put off, and a drop is read with start not held.
        await press(pilot, "escape", "escape")
        await measure(pilot, app, "battery-positive-post", "starter-b-stud", "space")
        await measure(pilot, app, "starter-case", "battery-negative-post")
        await press(pilot, "i", "enter")
        told = page_text(app)
        assert "no current, no drop" in told
        assert "the engine could have fired" in told
        assert "2R              starter case" in told
        assert not any(word in told for word in ("BEST", "best was", "At fault", "points"))
        await press(pilot, "r", "b", "h", "escape")
    # Nothing is added once it is handed in.
    [file] = tmp_path.iterdir()
    assert len([line for line in read_handin(file).plain_lines() if isinstance(line.deed, Probed)]) == 2


@pytest.mark.parametrize(
    ("key", "sealed", "served", "told"),
    [
        (None, False, False, True),
        (None, True, False, False),
        (None, False, True, False),
        ("later", False, False, False),
        ("at-once", True, True, True),
    ],
)
def test_the_teacher_says_when_the_answer_is_shown(
    key: Feedback | None, sealed: bool, served: bool, told: bool
) -> None:
    exercise, desk = set_exercise("first-clamp")
    given = Given(exercise.model_copy(update={"feedback": key}), desk, sealed)
    assert answer_at_once(given, served=served) is told


async def test_a_broken_off_attempt_goes_on(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    for round_ in (1, 2):
        app = BenchApp(exercise, desk, "A. Learner", tmp_path)
        async with app.run_test(size=(100, 30)) as pilot:
            if round_ == 1:
                await past_the_story(pilot, app)
            else:
                await press(pilot, "escape")
            await measure(pilot, app, "starter-case", "battery-negative-post")
            assert len(bench(app).attempt.readings) == round_
            await press(pilot, "escape", "enter")


async def test_wrong_uses_are_let_happen(tmp_path: Path) -> None:
    exercise, desk = set_exercise("burnt-contacts")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        await pilot.pause()
        await press(pilot, "escape", "escape")
        await measure(pilot, app, "battery-positive-post", "engine-block", "space")
        await press(pilot, "f", "space", "x", "f", "f")
        # With both leads on nothing no reading is taken, and none is marked.
        await press(pilot, "h", "space")
        assert "Both leads are on nothing" in text_of(app)
        assert len(bench(app).attempt.readings) == 2
        await press(pilot, "r", "h")
        slips = [slip for _, slip in bench(app).attempt.bench.slips]
        assert slips == ["ohms-live", "cautions-unread", "lead-open"]


async def test_on_a_board_the_reading_is_typed(tmp_path: Path) -> None:
    exercise, desk = set_exercise("burnt-contacts")
    app = BenchApp(exercise.model_copy(update={"board": True}), desk, "A. Learner", tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        await past_the_story(pilot, app)
        await measure(pilot, app, "starter-b-stud", "motor-stud")
        await press(pilot, *"780mV", "enter")
        [reading] = bench(app).attempt.readings
        assert isinstance(reading, Probed)
        assert reading.shown == "0.78 V"


async def test_an_answer_that_names_too_much_is_refused_and_one_that_is_too_long_asked_for_again(
    tmp_path: Path,
) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        await press(pilot, "a", *["space", "down"] * 6, "enter")
        assert "at most 5" in str(bench(app).query_one("#said", Static).render())
        await press(pilot, "a", "space", "enter", "enter")
        app.screen.query_one(Input).value = "x" * 4001
        await press(pilot, "enter")
        assert "4000 are allowed" in str(app.screen.query_one("#wrong", Static).render())
        assert not bench(app).attempt.answered


async def test_nobody_answers_nothing_by_accident(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)

    def heading() -> str:
        assert isinstance(app.screen, Pick)
        return app.screen.heading

    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        # What the letters found is marked by Enter, as one is picked in any other list.
        await press(pilot, "a", *"negative", "enter")
        assert heading() == "Which readings show it?"
        await press(pilot, "escape", "a", "enter")
        assert heading() == "You marked nothing. Is nothing wrong?"
        await press(pilot, "enter")
        assert heading() == "You marked nothing. Is nothing wrong?"
        await press(pilot, "down", "down", "enter")
        assert heading() == "Which readings show it?"


async def test_what_was_read_and_heard_is_said_before_what_comes_next(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        await measure(pilot, app, "battery-positive-post", "starter-b-stud")
        await app.workers.wait_for_complete()
        await pilot.pause()
        said = str(bench(app).query_one("#said", Static).render())
        assert "Reading 1 is " in said
        assert said.index("You hear: ") < said.index("Next: ")


async def test_the_bench_has_the_letters_of_the_job_where_the_same_is_meant(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)

    def does(screen: type[Screen[Any]]) -> dict[str, str]:
        bound = [one for cls in reversed(screen.__mro__) for one in vars(cls).get("BINDINGS", [])]
        return {one.key: one.action for one in bound if isinstance(one, Binding)}

    assert {key: does(BenchScreen).get(key) for key in ("c", "z", "escape")} == {
        key: does(JobScreen)[key] for key in ("c", "z", "escape")
    }
    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        await press(pilot, "c")
        assert isinstance(app.screen, CautionsPage)
        await press(pilot, "escape", "escape")
        # Leaving is asked about; Esc once more stays.
        assert isinstance(app.screen, Confirm)
        await press(pilot, "escape")
        assert isinstance(app.screen, BenchScreen)
        await press(pilot, "m")
        # A meter's clamp finds nothing to close around at a joint, as on the job screen.
        assert bench(app).around is None
        await press(pilot, "down", "m")
        assert bench(app).around == "positive-cable"
        await press(pilot, "escape", "enter")
    assert [path.suffixes[-2:] for path in tmp_path.iterdir()] == [[".draft", ".json"]]


async def test_parts_stand_in_one_column_where_there_is_room(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    columns: dict[int, int] = {}
    for size in ((80, 24), (120, 40)):
        app = BenchApp(exercise, desk, "A. Learner", tmp_path)
        async with app.run_test(size=size) as pilot:
            await past_the_story(pilot, app)
            columns[size[0]] = len({line.index("|") for line in text_of(app).splitlines() if "  | " in line})
    assert columns[80] > 1
    assert columns[120] == 1


async def test_what_was_done_is_said_before_what_comes_next(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        for keys, words in (
            (["d", *"ground"], "You named the ground side."),
            (["z", *"clamp"], "repaired vehicle now"),
        ):
            await press(pilot, *keys, "enter")
            await app.workers.wait_for_complete()
            await pilot.pause()
            said = str(bench(app).query_one("#said", Static).render())
            assert words in said
            assert "Next: " in said


async def test_what_still_earns_points_is_said_until_it_is_done(tmp_path: Path) -> None:
    exercise, desk = set_exercise("nothing-wrong")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)

    async def said_after_answering(pilot: Pilot[Any]) -> str:
        await press(pilot, "a", *"negative", "enter", "enter", "enter")
        return str(bench(app).query_one("#said", Static).render())

    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        side, repair, proof = "the side at fault (d)", "the repair (z)", "proves the repair"
        said = await said_after_answering(pilot)
        assert side in said
        assert repair in said
        # So it is said once more before nothing can be added.
        await press(pilot, "i")
        assert "the repair (z)" in text_of(app)
        await press(pilot, "escape", "d", "enter", "z", "enter")
        said = await said_after_answering(pilot)
        assert (side in said, repair in said, proof in said) == (False, False, True)
        await measure(pilot, app, "starter-case", "battery-negative-post")
        assert await said_after_answering(pilot) == "Your answer is down. i hands in."


async def test_whoever_answers_nothing_is_not_sent_to_repair(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    attempt = Attempt.begin(exercise, desk, "A. Learner", tmp_path, 1, lambda: datetime.now(UTC))
    attempt.do(Concluded())
    assert attempt.unearned == ["side"]


async def test_all_that_is_said_of_a_repair_and_what_comes_next_is_seen(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        await press(pilot, "z", *"ground", "space", *"block", "enter")
        said = str(bench(app).query_one("#said", Static).render())
        left = bench(app).query_one("#said").region.x
        beside = " ".join(" ".join(line[left:] for line in text_of(app).splitlines()).split())
        assert "Next: " in said
        assert said in beside


async def test_whoever_reads_what_is_said_next_is_told_so_afterwards(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await past_the_story(pilot, app)
        for count in range(1, 9):
            deed = bench(app).attempt.lines[-1].deed
            assert isinstance(deed, Helped)
            if not (deed.red and deed.black):
                break
            assert "Next: red on" in str(bench(app).query_one("#said", Static).render())
            await measure(pilot, app, deed.red, deed.black, "h" if deed.held else "space")
            assert len(bench(app).attempt.readings) == count
        assert "the readings call for it" in str(bench(app).query_one("#said", Static).render())
        await press(pilot, "i", "enter")
        told = page_text(app)
    assert "what the bench said was next" in told
    assert "best was" not in told


async def test_help_is_there_only_where_the_exercise_gives_it(tmp_path: Path) -> None:
    said: dict[str, str] = {}
    for name in ("first-clamp", "burnt-contacts", "nothing-wrong"):
        exercise, desk = set_exercise(name)
        app = BenchApp(exercise, desk, "A. Learner", tmp_path)
        async with app.run_test(size=(100, 30)) as pilot:
            await past_the_story(pilot, app)
            if exercise.help != "guided":
                await press(pilot, "n")
            await pilot.pause()
            said[exercise.help] = str(bench(app).query_one("#said", Static).render())
    assert said["guided"].startswith("Next: ")
    assert said["hints"].startswith("Next: ")
    assert said["free"] == "This exercise is worked without help."


async def test_an_exercise_is_played_from_home_and_broken_off_and_handed_in(bay: Open, store: Store) -> None:
    folder = store.path.parent / "lab"
    async with bay() as driven:
        await driven.press("e", *"Lesson", "enter")
        await driven.type("Ada B.")
        # The story, then the cautions put off.
        await driven.press("escape", "escape", "r", "h")
        assert "1." in driven.shown()
        await driven.press("f1")
        assert "hold start for that long, and read" in driven.shown()
        await driven.press("escape", "escape", "enter")
        assert "The attempt is kept" in driven.shown()
        await driven.press("e")
        assert "first, 40 min; going on: Ada B." in driven.shown()
        await driven.press(*"Lesson", "enter", "enter", "escape", "escape", "i", "enter")
        assert "of 100 points" in driven.shown()
        await driven.press("escape")
        assert "Your hand-in is" in driven.shown()
    [file] = folder.iterdir()
    # What was told next is in it too, so that nobody is marked down for following it.
    assert [line.deed.kind for line in read_handin(file).lines] == ["probed", "helped"]


async def test_a_given_file_is_played_from_home(bay: Open, tmp_path: Path) -> None:
    exercise, _ = set_exercise("first-clamp")
    path = tmp_path / "monday.yaml"
    for with_bench in (True, False):
        sealed = seal(exercise, "the teacher's own", lambda count: bytes(count), with_bench=with_bench)
        # JSON is YAML too.
        path.write_text(sealed.model_dump_json(exclude_none=True))
        async with bay() as driven:
            await driven.press("e", *"given", "enter")
            await driven.type("nowhere.yaml")
            assert "there is no such file" in driven.shown()
            for _ in "nowhere.yaml":
                await driven.pilot.press("backspace")
            await driven.type(str(path))
            if not with_bench:
                assert "sealed without a bench" in driven.shown()
                return
            await driven.type("Ada B.")
            await driven.press("escape", "escape", "i", "enter")
            assert "Your teacher can show you the answer" in driven.shown()


# --- looks -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_the_bench_looks_as_it_was_kept(
    tmp_path: Path, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its text against a kept copy, from the story to the feedback. The same vehicle, a minute between deeds."""
    # The folder is shown from home on, so it looks the same on every machine.
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr("wizard.ui.lab_bench.secrets.randbits", lambda _: 7)
    monkeypatch.setattr(Attempt, "elapsed_s", property(lambda attempt: 60.0 * len(attempt.lines)))
    exercise, desk = set_exercise("first-clamp")
    (tmp_path / "lessons").mkdir()
    app = BenchApp(exercise, desk, "A. Learner", tmp_path / "lessons")
    looks: dict[str, str] = {}
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        looks["bench-story"] = text_of(app)
        await press(pilot, "enter", "escape")
        await measure(pilot, app, "battery-positive-post", "starter-b-stud")
        await measure(pilot, app, "starter-case", "battery-negative-post")
        await press(pilot, "x", "f", "f", "up", "up", "m")
        looks["bench"] = text_of(app)
        for _ in ("dark", "light"):
            drawn = [segment for strip in app.screen._compositor.render_strips() for segment in strip]
            assert [s for s in drawn if not readable(s)] == []
            await press(pilot, "ctrl+t")
        await press(pilot, "d")
        looks["bench-side"] = text_of(app)
        await press(pilot, "escape", "question_mark")
        looks["bench-keys"] = text_of(app)
        await press(pilot, "escape", "i", "enter")
        looks["bench-feedback"] = text_of(app)
    for name, look in looks.items():
        kept = LOOKS / f"{name}-{size[0]}x{size[1]}.txt"
        if os.environ.get("DROPWALK_LOOKS") == "write":
            kept.write_text(look)
        assert look == kept.read_text(), f"{name} looks different"


async def test_the_bench_without_colours_shows_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    exercise, desk = set_exercise("first-clamp")
    app = BenchApp(exercise, desk, "A. Learner", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await press(pilot, "escape", "escape")
        await go_to(pilot, app, "starter-case")
        await press(pilot, "r", "down", "b")
        text = text_of(app)
        strips = app.screen._compositor.render_strips()
    assert "R   starter case" in text
    assert "B  >engine block" in text
    assert text.count(">") == 1
    # The bar is told from the rest by light against dark.
    grey = [s.style for strip in strips for s in strip if s.style and s.style.color]
    assert all(len(set(style.color.get_truecolor())) == 1 for style in grey if style.color)


def text_of(app: BenchApp) -> str:
    """The screen as text, each line without the blanks at its end."""
    rows = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in row).rstrip() for row in rows) + "\n"
