"""Every shipped exercise can be solved, by the walk and by the best tests, and says what its vehicle does."""

from __future__ import annotations

import pytest

from tests.lab.shipped import NAMES, set_exercise
from wizard.errors import DropwalkError
from wizard.lab.bench import Bench
from wizard.lab.deeds import Listened, Touched, Warmed
from wizard.lab.exercise import LEVELS, Scheme
from wizard.lab.making import chosen, drawn
from wizard.lab.scenario import PartFault
from wizard.lab.solving import is_right, solve
from wizard.walk.walker import Plan


@pytest.mark.parametrize(("plan", "noise"), [("walk", True), ("fastest", False)])
@pytest.mark.parametrize("name", NAMES)
def test_an_exercise_is_solved(name: str, plan: Plan, noise: bool) -> None:
    exercise, desk = set_exercise(name)
    solved = solve(exercise, desk, plan, seed=3, noise=noise)
    assert is_right(exercise, desk, solved.repairs), solved.repairs
    assert len(solved.readings) <= 14


@pytest.mark.parametrize("name", NAMES)
def test_an_exercises_vehicle_does_what_its_customer_says(name: str) -> None:
    exercise, desk = set_exercise(name)
    assert exercise.exercise == name
    bench = Bench(exercise, desk, 0, noise=False)
    for fault in exercise.hidden:
        if isinstance(fault, PartFault) and fault.moved_by == "touch":
            bench.do(Touched(point=desk.circuit.parts[fault.part].part.between[0]), 0.0)
        if isinstance(fault, PartFault) and fault.moved_by == "heat":
            bench.do(Warmed(), 0.0)
    heard = bench.do(Listened(held_s=2.0), 1.0)
    assert isinstance(heard, Listened)
    assert heard.heard == exercise.symptom


def test_the_shipped_exercises_go_from_the_first_lesson_to_hard() -> None:
    exercises = [set_exercise(name)[0] for name in NAMES]
    assert len(exercises) >= 10
    assert {exercise.level for exercise in exercises} == set(LEVELS)
    assert {exercise.help for exercise in exercises} == {"guided", "hints", "free"}
    assert any(not exercise.hidden for exercise in exercises)
    assert any(len(exercise.hidden) > 1 for exercise in exercises)
    assert all(exercise.goals and exercise.setting_up for exercise in exercises)


def test_a_scheme_that_does_not_come_to_a_hundred_is_refused() -> None:
    assert list(Scheme().inconsistencies()) == []
    [(_, message)] = Scheme(part=26).inconsistencies()
    assert "101" in message


def test_a_drawn_exercise_is_the_same_for_the_same_seed_and_can_be_solved() -> None:
    _, desk = set_exercise("first-clamp")
    made = drawn("monday", "easy", desk, 5)
    assert made == drawn("monday", "easy", desk, 5) != drawn("monday", "easy", desk, 6)
    assert made["symptom"]


@pytest.mark.parametrize(
    ("part", "excess", "message"),
    [
        ("tow-bar", "3 mohm", "no part 'tow-bar'"),
        ("block-joint", "3 V", "the unit 'V' does not fit"),
        ("body-strap", "0.01 mohm", "does not find this fault"),
    ],
)
def test_a_choice_that_can_not_be_set_is_refused(part: str, excess: str, message: str) -> None:
    _, desk = set_exercise("first-clamp")
    with pytest.raises(DropwalkError, match=message):
        chosen("monday", "easy", desk, [(part, excess)], 1)
