"""What the bench tells a student to do next, and that marking holds against it only what can be done there."""

from __future__ import annotations

from functools import cache

import pytest

from tests.lab.shipped import NAMES, set_exercise
from tests.lab.students import Student, any_student
from wizard.lab.deeds import Concluded, Deed, GroundLead, Helped, Probed, Touched, Warmed
from wizard.lab.hints import hint
from wizard.lab.marking import Judged, Marker
from wizard.lab.solving import probe
from wizard.walk.assessment import Next
from wizard.walk.events import Repaired

BATTERY = Probed(red="battery-positive-post", black="battery-negative-post", held_s=0.0)
POSITIVE = Probed(red="battery-positive-post", black="starter-b-stud", held_s=5.0)


CRANKED = BATTERY.model_copy(update={"held_s": 5.0})
GROUND = Probed(red="starter-case", black="battery-negative-post", held_s=5.0)
LUG = Probed(red="starter-lug", black="motor-stud", held_s=5.0)


@cache
def marker(name: str) -> Marker:
    return Marker(*set_exercise(name))


def next_for(student: Student) -> Next:
    bench = student.bench
    return hint(student.exercise, student.desk, student.lines, frozenset(bench.failing), bench.heard)


def steps_of(student: Student) -> tuple[Judged, ...]:
    return marker(student.exercise.exercise).mark(student.do(Concluded(reasons="none")).hand_in()).steps


def told(student: Student) -> Next:
    """What the bench tells this student next; it puts that down."""
    found = next_for(student)
    reading = found.kind in ("measure", "prove")
    held = found.state == "cranking"
    student.do(Helped(red=found.red, black=found.black, clamp=found.clamp, held=held) if reading else Helped())
    return found


def obedient(name: str, seed: int) -> Student:
    """Does whatever the bench says is next, up to the repair."""
    student = Student(*set_exercise(name), seed=seed).read_cautions()
    for _ in range(30):
        found = told(student)
        if found.kind == "repair":
            return student.do(Repaired(repair=found.repair or ""))
        if found.kind == "finish":
            return student
        student.do(probe(found))
    raise AssertionError("it goes on for ever")


@pytest.mark.parametrize("name", ["first-clamp", "flat-battery", "burnt-contacts", "silent-switch"])
@pytest.mark.parametrize("seed", [1, 2])
def test_who_does_what_the_bench_says_meets_every_best_test(name: str, seed: int) -> None:
    steps = steps_of(obedient(name, seed))
    assert steps
    assert [step for step in steps if not step.same] == []


REST = Helped(red="battery-positive-post", black="battery-negative-post")


@pytest.mark.parametrize(
    ("deeds", "met"),
    [
        # The walk begins with the battery at rest; where nobody was told so, that is no excuse.
        ((BATTERY,), [False]),
        ((REST, BATTERY), [True]),
        # What was told is followed once.
        ((REST, BATTERY, BATTERY), [True, False]),
        # A hand-in that claims to have been told what the bench never tells.
        ((Helped(red="starter-lug", black="motor-stud", held=True), LUG), [False]),
    ],
)
def test_only_what_the_bench_told_is_met_beside_the_best(deeds: tuple[Deed, ...], met: list[bool]) -> None:
    student = Student(*set_exercise("burnt-contacts"), seed=1).read_cautions().do(*deeds)
    assert [step.same for step in steps_of(student)] == met


def test_what_a_wrong_reading_led_the_bench_to_say_is_met_as_well() -> None:
    """With the ground lead off every drop reads nothing, and the bench asks for what a true meter would not."""
    exercise, desk = set_exercise("first-clamp")
    true, student = (Student(exercise, desk, seed=1).read_cautions().do(BATTERY, CRANKED) for _ in range(2))
    true.do(POSITIVE, GROUND)
    student.do(GroundLead(on=False), POSITIVE, GROUND, GroundLead(on=True))
    found = told(student)
    assert probe(found) != probe(next_for(true))
    assert steps_of(student.do(probe(found)))[-1].hinted


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
