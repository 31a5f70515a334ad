"""What the bench tells a student to do next, and that marking holds against it only what can be done there."""

from __future__ import annotations

from functools import cache

import pytest

from tests.lab.shipped import NAMES, set_exercise
from tests.lab.students import Student, any_student
from wizard.lab.deeds import Concluded, Helped, Probed, Touched, Warmed
from wizard.lab.hints import hint
from wizard.lab.marking import Judged, Marker
from wizard.lab.solving import probe
from wizard.walk.assessment import Next
from wizard.walk.events import Repaired

BATTERY = Probed(red="battery-positive-post", black="battery-negative-post", held_s=0.0)
POSITIVE = Probed(red="battery-positive-post", black="starter-b-stud", held_s=5.0)


@cache
def marker(name: str) -> Marker:
    return Marker(*set_exercise(name))


def next_for(student: Student) -> Next:
    bench = student.bench
    return hint(student.exercise, student.desk, student.lines, frozenset(bench.failing), bench.heard)


def steps_of(student: Student) -> tuple[Judged, ...]:
    return marker(student.exercise.exercise).mark(student.do(Concluded(reasons="none")).hand_in()).steps


def obedient(name: str, seed: int, *, asks: bool = False) -> Student:
    """Does whatever the bench says is next, up to the repair."""
    student = Student(*set_exercise(name), seed=seed).read_cautions()
    for _ in range(30):
        if asks:
            student.do(Helped())
        found = next_for(student)
        if found.kind == "repair":
            return student.do(Repaired(repair=found.repair or ""))
        if found.kind == "finish":
            return student
        student.do(probe(found))
    raise AssertionError("it goes on for ever")


@pytest.mark.parametrize(
    ("name", "asks"),
    [("first-clamp", False), ("flat-battery", False), ("burnt-contacts", True), ("silent-switch", True)],
)
@pytest.mark.parametrize("seed", [1, 2])
def test_who_does_what_the_bench_says_meets_every_best_test(name: str, asks: bool, seed: int) -> None:
    steps = steps_of(obedient(name, seed, asks=asks))
    assert steps
    assert [step for step in steps if not step.same] == []


def test_what_the_bench_did_not_say_is_held_against_the_best_alone() -> None:
    """The walk begins with the battery at rest; where no help was asked for, that is no excuse."""
    silent = Student(*set_exercise("burnt-contacts"), seed=1).read_cautions()
    assert next_for(silent).step == "battery-resting"
    told = Student(*set_exercise("burnt-contacts"), seed=1).read_cautions().do(Helped())
    [alone], [hinted] = steps_of(silent.do(BATTERY)), steps_of(told.do(BATTERY))
    assert (alone.same, hinted.same, hinted.hinted) == (False, True, True)
    # What was told is followed once.
    again = Student(*set_exercise("burnt-contacts"), seed=1).read_cautions().do(Helped(), BATTERY, BATTERY)
    assert [step.same for step in steps_of(again)] == [True, False]


@pytest.mark.parametrize("name", NAMES)
def test_no_reading_is_held_against_a_question_or_a_look(name: str) -> None:
    made = marker(name)
    titles = {step.title for step in made.desk.flow.steps.values() if step.kind == "ask"}
    doable = {made.desk.flow.steps[step].title for step in ("wiggle", "warm-it", "many-cranks")}
    for seed in range(3):
        student = any_student(made.exercise, made.desk, seed, "B")
        for step in made.mark(student.hand_in()).steps:
            assert step.best not in titles - (doable if made.exercise.intermittent else set())


def test_a_fault_that_comes_and_goes_is_to_be_made_to_show_itself_by_what_the_bench_has() -> None:
    """When plain readings have run out: each joint moved by hand, then heat, and then no more of either."""
    exercise, desk = set_exercise("hot-joint")
    sound = exercise.model_copy(update={"hidden": []})
    student = Student(sound, desk, seed=1).read_cautions()
    said: list[str | None] = []
    found = next_for(student)
    while found.kind != "finish":
        if found.kind == "ask":
            said.append(found.step)
            named = [name for name in found.choices or () if name in desk.circuit.parts]
            points = dict.fromkeys(desk.circuit.parts[name].part.between[0] for name in named)
            student.do(*(Touched(point=point) for point in points) if points else (Warmed(),))
        else:
            student.do(probe(found))
        found = next_for(student)
    assert said == ["wiggle", "warm-it"]


def test_a_board_is_not_heard() -> None:
    exercise, desk = set_exercise("burnt-contacts")
    board = exercise.model_copy(update={"board": True})
    student = Student(board, desk, seed=1).read_cautions()
    student.do(POSITIVE.model_copy(update={"shown": "0.1 V"}))
    bench = student.bench
    plain = hint(board, desk, student.lines, frozenset(), None)
    assert hint(board, desk, student.lines, frozenset(bench.failing), bench.heard) == plain
