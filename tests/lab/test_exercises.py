"""Every shipped exercise can be solved, by the walk and by the best tests, and says what its vehicle does."""

from __future__ import annotations

import itertools

import pytest

from tests.lab.shipped import NAMES, set_exercise
from wizard.errors import DropwalkError
from wizard.lab import making
from wizard.lab.bench import Bench
from wizard.lab.deeds import Listened, Touched, Warmed
from wizard.lab.exercise import LEVELS, Exercise, Scheme, where
from wizard.lab.making import OTHERS, Chosen, chosen, drawn
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


def test_drawn_exercises_are_of_every_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Part, battery, starter, engine, coil, control side, two at once, come and go, too small a cable, healthy."""
    monkeypatch.setattr(making, "solvable", lambda *_: True)
    kinds: set[str] = set()
    for name, first in (("first-clamp", 0), ("hidden-strap", 30)):
        _, desk = set_exercise(name)
        for level, seed in itertools.product(LEVELS, range(first, first + 30)):
            exercise = Exercise.model_validate(drawn("monday", level, desk, seed))
            assert list(exercise.misfits(desk.circuit.map, desk.flow)) == []
            kinds |= {where(fault, desk.circuit) for fault in exercise.hidden} or {"nothing"}
            kinds |= {"pair"} if len(exercise.hidden) > 1 else set()
            kinds |= {str(fault.moved_by) for fault in exercise.hidden if isinstance(fault, PartFault)}
            kinds |= {fault.family for fault in exercise.hidden if not isinstance(fault, PartFault)}
    assert kinds > {"positive", "ground", "control", "battery", "starter", "engine", "nothing", "pair", "touch", "heat"}
    assert kinds > {"battery-discharged", "battery-worn", "starter-open", "starter-worn", "coil-open"}


@pytest.mark.parametrize(
    ("name", "hide", "symptom"),
    [
        ("first-clamp", Chosen(excess=[("negative-clamp", "18 mohm")]), "cranks-slowly"),
        ("first-clamp", Chosen(excess=[("b-stud-joint", "70 mohm")], moved_by="heat"), "one-click"),
        ("hidden-strap", Chosen(excess=[("isolator-load-joint", "90 mohm")], moved_by="touch"), "one-click"),
        ("first-clamp", Chosen(excess=[("negative-clamp", "18 mohm")], others=["battery=worn"]), "cranks-slowly"),
        ("hidden-strap", Chosen(sizes=[("long-cable", "4 mm2")]), "cranks-slowly"),
        ("first-clamp", Chosen(), "cranks-normally"),
        ("first-clamp", Chosen(others=["coil=open"]), "no-click"),
        ("first-clamp", Chosen(others=["starter=open"]), "one-click"),
        ("first-clamp", Chosen(others=["engine=dragging"]), "cranks-slowly"),
    ],
    ids=["part", "heat", "touch", "pair", "cable", "healthy", "coil", "starter", "engine"],
)
def test_a_chosen_exercise_can_be_solved_and_says_what_its_vehicle_does(name: str, hide: Chosen, symptom: str) -> None:
    _, desk = set_exercise(name)
    made = chosen("monday", "middle", desk, hide, 3)
    assert made["symptom"] == symptom
    assert len(Exercise.model_validate(made).hidden) == len([*hide.excess, *hide.sizes, *hide.others])


def test_too_small_a_cable_adds_what_its_copper_lacks() -> None:
    # 4.2 m of 6 mm2 in place of 50 mm2 at 1/58 ohm mm2/m (IEC 60028): 10.6 mohm, before the lay of the strands.
    _, desk = set_exercise("hidden-strap")
    made = chosen("monday", "hard", desk, Chosen(sizes=[("long-cable", "6 mm2")]), 3)
    [fault] = Exercise.model_validate(made).hidden
    assert isinstance(fault, PartFault)
    assert fault.excess_mohm == pytest.approx(4.2 / 58 * (1 / 6 - 1 / 50) * 1e3, rel=0.12)


@pytest.mark.parametrize(
    ("hide", "message"),
    [
        (Chosen(excess=[("tow-bar", "3 mohm")]), "no part 'tow-bar'"),
        (Chosen(excess=[("block-joint", "3 V")]), "the unit 'V' does not fit"),
        (Chosen(excess=[("body-strap", "0.01 mohm")]), "does not find this fault"),
        (Chosen(sizes=[("block-joint", "6 mm2")]), "no cable with a length"),
        (Chosen(sizes=[("positive-cable", "6")]), "is not a size"),
        (Chosen(sizes=[("positive-cable", "70 mm2")]), "not too small"),
        (Chosen(others=["battery=worn"], moved_by="heat"), "can come and go"),
    ],
)
def test_a_choice_that_can_not_be_set_is_refused(hide: Chosen, message: str) -> None:
    _, desk = set_exercise("first-clamp")
    with pytest.raises(DropwalkError, match=message):
        chosen("monday", "easy", desk, hide, 1)


def test_the_choices_of_other_faults_are_those_that_a_vehicle_can_have() -> None:
    for other in OTHERS:
        kind, _, what = other.partition("=")
        data = {"exercise": "a", "title": "A", "story": "", "circuit": "front-battery", "hidden": [{kind: what}]}
        [fault] = Exercise.model_validate(data).hidden
        assert not isinstance(fault, PartFault)
        assert fault.family == f"{kind}-{what}"
