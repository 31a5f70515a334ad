"""The shipped flow and cautions are sound, and the lint sees every way in which a flow can be unsound."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from wizard.circuit.map import Place, RepairKind
from wizard.files.places import shipped
from wizard.files.yamltext import read_document
from wizard.walk.flow import NOT_SURE, Cautions, Flow, StepKind

FLOW = Flow.model_validate(read_document(shipped("flows") / "no-crank-clicks.yaml").data)
CAUTIONS = Cautions.model_validate(read_document(shipped("flows") / "cautions.yaml").data)


def test_the_shipped_flow_is_sound() -> None:
    assert list(FLOW.inconsistencies()) == []


def test_the_shipped_cautions_are_sound_and_all_in_use() -> None:
    assert list(CAUTIONS.inconsistencies()) == []
    assert {name for names in CAUTIONS.when.values() for name in names} == set(CAUTIONS.cautions)


def test_every_caution_that_a_step_names_exists() -> None:
    named = {name for step in FLOW.steps.values() for name in step.cautions}
    assert named <= set(CAUTIONS.cautions)


@pytest.mark.parametrize("deed", ["always", "cranking", "resting", *Place, *RepairKind])
def test_everything_that_is_done_has_its_cautions(deed: str) -> None:
    assert CAUTIONS.when[deed]


@pytest.mark.parametrize(
    ("deed", "cautions"),
    [
        ("cranking", {"engine-must-not-fire", "park-and-brake", "keep-clear", "crank-time"}),
        ("battery", {"battery-gas", "acid", "metal-and-rings"}),
        ("under", {"stands-and-chocks"}),
        ("replace", {"ground-lead-first"}),
        ("clean", {"ground-lead-first"}),
    ],
)
def test_a_deed_carries_its_own_cautions_and_those_that_always_hold(deed: str, cautions: set[str]) -> None:
    assert cautions | {"high-voltage", "follow-the-maker"} <= set(CAUTIONS.for_deed(deed))


def test_cranking_is_limited_as_the_army_manual_has_it() -> None:
    # US Army TM 10-3930-671-24: crank no longer than 30 s, then rest 2 min.
    text = CAUTIONS.cautions["crank-time"].text
    assert "30 s" in text
    assert "2 minutes" in text


@pytest.mark.parametrize("name", [n for n, step in FLOW.steps.items() if step.kind is StepKind.MEASURE])
def test_a_step_that_measures_says_all_that_an_apprentice_needs(name: str) -> None:
    step = FLOW.steps[name]
    assert all([step.do, step.why, step.good, step.mistakes, step.teach, step.limit])
    if step.state == "cranking":
        assert {"engine-must-not-fire", "keep-clear"} <= set(step.cautions)


@pytest.mark.parametrize("name", list(FLOW.steps))
def test_texts_fit_a_small_terminal(name: str) -> None:
    step = FLOW.steps[name]
    assert len(step.title) <= 40
    assert all(len(text) <= 160 for text in (step.do, step.why, step.good, *step.mistakes))


def data() -> dict[str, Any]:
    return {
        "flow": "small",
        "title": "Small",
        "start": "safe",
        "steps": {
            "safe": {"kind": "caution", "title": "Safe", "cautions": ["a"], "then": {"read": "hear"}},
            "hear": {
                "kind": "ask",
                "title": "Hear",
                "choices": {"yes": "Yes", NOT_SURE: "Not sure"},
                "evidence": {"yes": {"engine-dragging": 0.9, "otherwise": 0.1}},
                "then": {"yes": "drop", NOT_SURE: "drop"},
            },
            "drop": {
                "kind": "measure",
                "title": "Drop",
                "state": "cranking",
                "red": "battery.positive",
                "black": "starter.feed",
                "then": {"within": "nothing", "marginal": "split", "over": "split"},
            },
            "split": {
                "kind": "split",
                "title": "Split",
                "run": "positive",
                "then": {"found": "mend", "nothing": "nothing"},
            },
            "mend": {"kind": "repair", "title": "Mend", "then": {"done": "prove"}},
            "prove": {"kind": "prove", "title": "Prove", "then": {"better": "good", "no-better": "drop"}},
            "good": {"kind": "finish", "title": "Good"},
            "nothing": {"kind": "finish", "title": "Nothing"},
        },
    }


def test_the_small_flow_is_sound() -> None:
    assert list(Flow.model_validate(data()).inconsistencies()) == []


def change(*path: str, to: Any) -> Callable[[dict[str, Any]], None]:
    def spoil(flow: dict[str, Any]) -> None:
        for key in path[:-1]:
            flow = flow[key]
        if to is None:
            del flow[path[-1]]
        else:
            flow[path[-1]] = to

    return spoil


ASK = {"kind": "ask", "title": "Again", "choices": {NOT_SURE: "?"}, "then": {NOT_SURE: "hear"}}
MEASURE = data()["steps"]["drop"]


@pytest.mark.parametrize(
    ("spoil", "where", "what"),
    [
        (change("start", to="nowhere"), "start", "no step 'nowhere'"),
        (change("steps", "hear", "then", "yes", to="nowhere"), "steps.hear.then.yes", "no step 'nowhere'"),
        (
            change("steps", "drop", "then", "over", to=None),
            "steps.drop.then",
            "nothing is said for the outcome 'over'",
        ),
        (
            change("steps", "drop", "then", "found", to="mend"),
            "steps.drop.then.found",
            "has no outcome 'found'",
        ),
        (
            change("steps", "spare", to={"kind": "finish", "title": "Spare"}),
            "steps.spare",
            "no path from the start",
        ),
        (
            change("steps", "prove", "then", to={"better": "mend", "no-better": "mend"}),
            "steps.mend",
            "dead end",
        ),
        (
            change("steps", "hear", "choices", to={"yes": "Yes"}),
            "steps.hear.choices",
            "needs the choice not-sure",
        ),
        (
            change("steps", "hear", "evidence", "no", to={"otherwise": 1}),
            "steps.hear.evidence.no",
            "not there",
        ),
        (
            change("steps", "hear", "evidence", "yes", "otherwise", to=None),
            "steps.hear.evidence.yes",
            "otherwise",
        ),
        (change("steps", "mend", "then", "done", to="good"), "steps.mend", "without a proof"),
        (change("start", to="hear"), "steps.mend", "without passing a caution"),
        (
            change("steps", "split", "then", "found", to="nothing"),
            "steps.split.then.found",
            "lead to a repair",
        ),
        (change("steps", "split", "run", to="side"), "steps.split.run", "no run 'side'"),
        (change("steps", "drop", "red", to="battery.top"), "steps.drop.red", "no role 'battery.top'"),
        (change("steps", "drop", "black", to=None), "steps.drop", "needs black"),
        (change("steps", "safe", "cautions", to=None), "steps.safe", "needs cautions"),
    ],
)
def test_each_defect_is_named_where_it_is(spoil: Callable[[dict[str, Any]], None], where: str, what: str) -> None:
    flow = copy.deepcopy(data())
    spoil(flow)
    found = {".".join(map(str, path)): text for path, text in Flow.model_validate(flow).inconsistencies()}
    assert what in found[where]


@pytest.mark.parametrize(
    ("back", "again"),
    [
        ({"yes": "again", NOT_SURE: "drop"}, ASK),
        (
            {"yes": "hear", NOT_SURE: "again"},
            {**MEASURE, "then": {"within": "drop", "marginal": "drop", "over": "drop"}},
        ),
        (
            {"yes": "again", NOT_SURE: "drop"},
            {**MEASURE, "then": {"within": "hear", "marginal": "drop", "over": "drop"}},
        ),
    ],
    ids=["two asks", "an ask that leads to itself", "a measurement that is done already"],
)
def test_a_circle_that_no_repair_breaks_is_caught(back: dict[str, str], again: dict[str, Any]) -> None:
    flow = data()
    flow["steps"]["hear"]["then"] = back
    flow["steps"]["again"] = copy.deepcopy(again)
    problems = list(Flow.model_validate(flow).inconsistencies())
    assert [path for path, text in problems if "circle" in text] == [("steps", "hear")]


def test_a_flow_of_many_crossing_circles_is_judged_at_once() -> None:
    names = [f"ask-{number}" for number in range(60)]
    every = dict.fromkeys(names, "Next")
    flow = data()
    for name in names:
        flow["steps"][name] = {
            "kind": "ask",
            "title": name,
            "choices": {**every, NOT_SURE: "?"},
            "then": {**{other: other for other in names}, NOT_SURE: "drop"},
        }
    flow["steps"]["hear"]["then"]["yes"] = "ask-0"
    circles = [path for path, text in Flow.model_validate(flow).inconsistencies() if "circle" in text]
    assert circles == [("steps", "ask-0")]


def test_a_caution_that_is_not_there_is_named() -> None:
    cautions = Cautions.model_validate({"cautions": {}, "when": {"always": ["rings"]}, "defer": "The maker first."})
    assert [path for path, _ in cautions.inconsistencies()] == [("when", "always", 0)]


def test_a_split_is_of_a_reading_that_is_there() -> None:
    flow = data()
    flow["steps"]["hear"]["of"] = "drop"
    said = list(Flow.model_validate(flow).inconsistencies())
    assert (("steps", "hear", "of"), "only a split step is of a reading") in said
    split = {"kind": "split", "title": "Split", "run": "positive", "then": {"found": "drop", "nothing": "drop"}}
    flow["steps"]["again"] = {**split, "of": "hear"}
    said = list(Flow.model_validate(flow).inconsistencies())
    assert (("steps", "again", "of"), "there is no step 'hear' that measures") in said
