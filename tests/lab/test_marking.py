"""Marks: earned by what was done, explained, the same again from the hand-in alone, and none for a changed one."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.lab.shipped import set_exercise
from tests.lab.students import BEGAN, Student, any_student, good_student
from wizard.errors import DropwalkError
from wizard.lab.attempt import Attempt
from wizard.lab.classroom import Classroom, handins_in, summaries, summary_svg, summary_text, table
from wizard.lab.deeds import Concluded, Deed, Line, Listened, Probed, Repaired, SideNamed
from wizard.lab.feedback import feedback_text
from wizard.lab.handin import HandIn, read_handin, write_handin
from wizard.lab.marking import Marked, Marker
from wizard.walk.drawing import short_name

POSITIVE = Probed(red="battery-positive-post", black="starter-b-stud", held_s=5.0)
GROUND = Probed(red="starter-case", black="battery-negative-post", held_s=5.0)
MOTOR = Probed(red="motor-stud", black="starter-case", held_s=5.0)
CLAMP = Probed(red="negative-clamp-body", black="battery-negative-post", held_s=5.0)
RIGHT = Repaired(repair="clean-negative-clamp")
ANSWER = Concluded(parts=["negative-clamp"], evidence=[3], reasons="The post to clamp joint loses it all.")
WALK: tuple[Deed, ...] = (POSITIVE, GROUND, SideNamed(side="ground"), CLAMP, RIGHT, GROUND, ANSWER)


@cache
def marker(name: str) -> Marker:
    return Marker(*set_exercise(name))


def marked(*deeds: Deed, cautions: bool = True, name: str = "first-clamp") -> Marked:
    student = Student(*set_exercise(name), seed=8)
    if cautions:
        student.read_cautions()
    return marker(name).mark(student.do(*deeds).hand_in())


def points(of: Marked) -> dict[str, float]:
    return {mark.what: mark.points for mark in of.marks}


@pytest.mark.parametrize("name", ["first-clamp", "nothing-wrong", "flat-battery", "dragging-engine"])
def test_a_good_student_gets_nearly_everything(name: str) -> None:
    made = marker(name)
    done = made.mark(good_student(made.exercise, made.desk, made.best).hand_in())
    assert done.total >= 95, done
    assert sum(mark.of for mark in done.marks) == 100
    assert all(mark.why for mark in done.marks)


def test_the_whole_walk_earns_every_point() -> None:
    done = marked(*WALK)
    assert done.total == 100, done.marks
    assert done.costs == ()
    assert [step.number for step in done.steps] == [1, 2, 3]


@pytest.mark.parametrize(
    ("deeds", "what", "earned"),
    [
        ((*WALK[:-1], ANSWER.model_copy(update={"parts": ["block-joint"]})), "right part", 0),
        ((*WALK[:-1], ANSWER.model_copy(update={"parts": ["negative-clamp", "block-joint"]})), "right part", 12.5),
        ((*WALK[:4], ANSWER), "right repair", 0),
        ((*WALK[:5], ANSWER), "right repair", 13.3),
        ((*WALK[:4], Repaired(repair="replace-starter"), *WALK[4:]), "right repair", 15),
        ((POSITIVE, GROUND, CLAMP, RIGHT, GROUND, ANSWER), "side found first", 0),
        ((CLAMP, GROUND, SideNamed(side="ground"), RIGHT, GROUND, ANSWER), "side found first", 5),
        ((SideNamed(side="positive"), *WALK[3:]), "side found first", 0),
        ((*[POSITIVE] * 30, *WALK), "readings", 0),
        ((*WALK[:-1], ANSWER.model_copy(update={"parts": ["block-joint"]})), "readings", 0),
        ((*WALK[:-1], ANSWER.model_copy(update={"parts": ["negative-clamp", "block-joint"]})), "minutes", 5),
        (WALK[:-1], "minutes", 0),
        ((*[POSITIVE, MOTOR] * 10, *WALK), "minutes", 0),
        ((POSITIVE.model_copy(update={"held_s": 0.0}), *WALK), "meter used properly", 3.8),
        ((Listened(held_s=40.0), *WALK), "cautions kept", 7.5),
        ((*WALK[:-1], ANSWER.model_copy(update={"evidence": [1]})), "reasons given", 5),
        ((*WALK[:-1], ANSWER.model_copy(update={"reasons": "because"})), "reasons given", 5),
        ((), "reasons given", 0),
    ],
)
def test_a_point_is_lost_for_what_was_not_done(deeds: tuple[Deed, ...], what: str, earned: float) -> None:
    assert points(marked(*deeds))[what] == pytest.approx(earned, abs=0.1)


def test_cranking_before_the_cautions_costs_points_and_is_told() -> None:
    done = marked(*WALK, cautions=False)
    assert points(done)["cautions kept"] == 0
    assert any("could have fired" in cost for cost in done.costs)


def test_a_repair_on_a_sound_vehicle_costs() -> None:
    answer = Concluded(parts=[], evidence=[1, 2], reasons="Both sides read as sound ones do.")
    sound = marked(POSITIVE, GROUND, SideNamed(side="nothing"), answer, name="nothing-wrong")
    needless = marked(
        POSITIVE, GROUND, SideNamed(side="nothing"), Repaired(repair="replace-starter"), answer, name="nothing-wrong"
    )
    assert points(sound)["right repair"] == 20
    assert points(needless)["right repair"] == 0
    assert points(sound)["reasons given"] == 10


@pytest.mark.parametrize("name", ["first-clamp", "tired-and-ground", "hidden-strap", "hot-joint"])
def test_a_mark_is_the_same_again_from_the_file_alone(name: str, tmp_path: Path) -> None:
    made = marker(name)
    handin = any_student(made.exercise, made.desk, 17, "B. Learner").hand_in()
    write_handin(handin, tmp_path / "b.handin.json")
    again = read_handin(tmp_path / "b.handin.json")
    assert again == handin
    # Whoever was marked before.
    made.mark(any_student(made.exercise, made.desk, 18, "C. Learner").hand_in())
    assert made.mark(again) == Marker(*set_exercise(name)).mark(handin)


def test_a_board_is_marked_by_what_was_typed() -> None:
    exercise, desk = set_exercise("first-clamp")
    board = exercise.model_copy(update={"board": True})
    typed = [
        deed.model_copy(update={"shown": shown}) if isinstance(deed, Probed) else deed
        for deed, shown in zip(WALK, ("0.31 V", "2.9 V", "", "2.4 V", "", "0.12 V", ""), strict=True)
    ]
    done = Marker(board, desk).mark(Student(board, desk, seed=1).read_cautions().do(*typed).hand_in())
    assert done.total == 100
    assert done.steps[1].done.endswith("2.9 V")


# --- tampering ---------------------------------------------------------------------------------------------------


def edited(text: str, chance: np.random.Generator) -> str:
    """The hand-in with one thing changed at random: a byte, a value, a line left out, doubled or moved."""
    data: dict[str, Any] = json.loads(text)
    lines = data["lines"]
    at = int(chance.integers(len(lines)))
    match int(chance.integers(8)):
        case 0:
            place = int(chance.integers(len(text)))
            return text[:place] + chr(int(chance.integers(32, 127))) + text[place + 1 :]
        case 1:
            del lines[at]
        case 2:
            lines.insert(at, lines[int(chance.integers(len(lines)))])
        case 3:
            other = int(chance.integers(len(lines)))
            lines[at], lines[other] = lines[other], lines[at]
        case 4:
            readings = [line for line in lines if line["deed"]["kind"] == "probed"]
            reading = readings[int(chance.integers(len(readings)))]
            reading["deed"]["shown"] = f"{chance.uniform(0, 3):.3f} V"
        case 5:
            data[str(chance.choice(["student", "began", "closing", "sheet", "exercise"]))] = "someone-else"
        case 6:
            data["seed"] = int(chance.integers(1, 1000))
        case _:
            del lines[at:]
    return json.dumps(data, indent=1) + "\n"


def test_200_random_edits_are_caught_or_change_nothing_that_is_marked(tmp_path: Path) -> None:
    made = marker("first-clamp")
    handins = [good_student(made.exercise, made.desk, made.best).hand_in()]
    handins += [any_student(made.exercise, made.desk, n, f"Student {n}").hand_in() for n in range(3)]
    chance = np.random.default_rng(606)
    caught = 0
    file = tmp_path / "a.handin.json"
    for number in range(200):
        handin = handins[number % len(handins)]
        file.write_text(edited(handin.text(), chance))
        try:
            again = made.mark(read_handin(file))
        except DropwalkError:
            caught += 1
        else:
            assert again == made.mark(handin)
    assert caught > 150


@pytest.mark.parametrize("change", ["shown", "crank", "seed"])
def test_a_forged_reading_is_caught_even_when_the_chain_was_made_anew(change: str) -> None:
    made = marker("first-clamp")
    handin = good_student(made.exercise, made.desk, made.best).hand_in()
    lines = handin.plain_lines()
    at = next(n for n, line in enumerate(lines) if isinstance(line.deed, Probed) and line.deed.held_s > 0)
    new = {"shown": "0.01 V", "crank": 77}
    if change != "seed":
        deed = lines[at].deed.model_copy(update={change: new[change]})
        lines[at] = Line(at_s=lines[at].at_s, deed=deed)
    seed = handin.seed + (change == "seed")
    forged = HandIn.of(made.exercise, handin.student, seed, BEGAN, lines)
    assert list(forged.inconsistencies()) == []
    with pytest.raises(DropwalkError, match="shows something else"):
        made.mark(forged)


def test_a_hand_in_of_another_edition_is_refused() -> None:
    exercise, desk = set_exercise("first-clamp")
    other = exercise.model_copy(update={"title": "Another title"})
    handin = Student(other, desk, seed=1).read_cautions().hand_in()
    with pytest.raises(DropwalkError, match="another edition"):
        marker("first-clamp").mark(handin)


# --- a class -----------------------------------------------------------------------------------------------------


def test_a_damaged_hand_in_does_not_stop_the_rest(tmp_path: Path) -> None:
    made = marker("first-clamp")
    for number in range(3):
        student = any_student(made.exercise, made.desk, number, ["=cmd()", "B. <b>", "C"][number])
        write_handin(student.hand_in(), tmp_path / f"{number}.handin.json")
    (tmp_path / "1a.handin.json").write_text("{broken")
    (tmp_path / "notes.txt").write_text("not a hand-in")
    rows = list(Classroom(set_exercise).mark(handins_in(tmp_path)))
    assert [row.file for row in rows] == ["0.handin.json", "1.handin.json", "1a.handin.json", "2.handin.json"]
    assert [row.marked is None for row in rows] == [False, False, True, False]
    text = table(rows)
    assert len(text.splitlines()) == 5
    # A name that a spreadsheet would run as a formula is text.
    assert "'=cmd()" in text
    [summary] = summaries(rows)
    assert summary.count == 3
    assert "first-clamp: 3 hand-ins" in summary_text(summary)
    assert summary_svg([summary]).count("<rect") == 1 + len(summary.lost)
    [alone] = summaries(rows[:1])
    assert summary_text(alone).startswith(f"first-clamp: 1 hand-in, {alone.mean:.0f} of 100\n")
    assert "first-clamp: 1 hand-in, " in summary_svg([alone])


def test_several_processes_mark_as_one_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = marker("first-clamp")
    for number in range(4):
        write_handin(any_student(made.exercise, made.desk, number, "B").hand_in(), tmp_path / f"{number}.handin.json")
    one = list(Classroom(set_exercise).mark(handins_in(tmp_path)))
    monkeypatch.setattr("wizard.lab.classroom._LEAST_EACH", 2)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    several = Classroom(set_exercise).mark(handins_in(tmp_path))
    assert sorted(several, key=lambda row: row.file) == one


def test_an_empty_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(DropwalkError, match="no hand-in"):
        handins_in(tmp_path)


def test_feedback_shows_both_walks_on_the_circuit() -> None:
    made = marker("first-clamp")
    handin = Student(made.exercise, made.desk, seed=8).read_cautions().do(*WALK).hand_in()
    text = feedback_text(made, handin, made.mark(handin))
    assert "100 of 100" in text
    drawing = text[text.index("Where the leads went") :]
    post = next(line for line in drawing.splitlines() if line.endswith("battery negative post"))
    assert "2B" in post[:18]
    assert "B" in post[18:34]
    assert all(short_name(point) in text for point in made.desk.circuit.points)


def test_two_under_one_name_do_not_write_over_each_other(tmp_path: Path) -> None:
    exercise, desk = set_exercise("first-clamp")

    def opened() -> Attempt:
        return Attempt.begin(exercise, desk, "A. Learner", tmp_path, 3, lambda: BEGAN)

    first, other = opened(), opened()
    first.do(POSITIVE)
    with pytest.raises(DropwalkError, match="somewhere else"):
        other.do(GROUND)
    again = opened()
    again.do(GROUND)
    for act in (lambda: first.do(CLAMP), first.hand_in):
        with pytest.raises(DropwalkError, match="somewhere else"):
            act()
    file = again.hand_in()
    with pytest.raises(DropwalkError, match="somewhere else"):
        first.do(CLAMP)
    assert [line.deed.kind for line in read_handin(file).lines] == ["probed", "probed"]
    assert list(tmp_path.iterdir()) == [file]
