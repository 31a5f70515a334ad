"""The walk as a technician meets it: readings in any order, jumps, corrections, repairs and their proof."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import pytest

from tests.vehicles import Fault, desk, follow, prove, read
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.network import Observable
from wizard.files.shelf import circuit_names
from wizard.walk.assessment import Assessment
from wizard.walk.desk import Desk
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Complaint,
    Event,
    Jumped,
    OutOfReach,
    ReadingStruck,
    ReadingTaken,
    Repaired,
    Started,
)
from wizard.walk.flow import StepKind
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess, walk_steps

PLANS = pytest.mark.parametrize("plan", ["walk", "fastest"])
# The walk's own readings up to the ground side, in its order.
BATTERY_STEPS = ("battery-resting", "battery-cranking", "positive-drop", "ground-drop")


def job(at: Desk, *events: Event, symptom: Heard = Heard.CRANKS_SLOWLY) -> list[Event]:
    return [Started(title="x", complaint=Complaint(circuit=at.circuit.map.circuit, symptom=symptom)), *events]


def answer(at: Desk, *events: Event, plan: Plan = "walk") -> Assessment:
    return assess(at, fold(job(at, *events)), plan, cautions_read=True)


def at_step(at: Desk, step: str, volts: float | None = None) -> ReadingTaken:
    """The reading that a step asks for; a sound circuit's when no volts are given."""
    asked, role = at.flow.steps[step], at.circuit.roles
    what = Observable(asked.state or "cranking", role[str(asked.red)], role[str(asked.black)])
    value = float(operate(at.circuit, Condition(), [what])[0][0]) if volts is None else volts
    return ReadingTaken(state=asked.state or "cranking", red=what.red, black=what.black, value=value)


def odds(made: Assessment) -> dict[str, float]:
    return {row.repair: row.probability for row in made.repairs}


def bad(at: Desk, part: str, ohm: float = 0.003) -> Fault:
    condition = Condition({part: ohm}, demand_a=at.circuit.demand_a[1])
    return Fault(part, condition, at.circuit.parts[part].part.repair)


@pytest.mark.parametrize("order", list(itertools.permutations(BATTERY_STEPS[:3])))
def test_readings_in_any_order_lead_to_the_same_step(any_desk: Desk, order: Sequence[str]) -> None:
    usual = answer(any_desk, *(at_step(any_desk, step) for step in BATTERY_STEPS[:3]))
    other = answer(any_desk, *(at_step(any_desk, step) for step in order))
    assert other.next.step == usual.next.step == "ground-drop"
    assert odds(other) == pytest.approx(odds(usual), abs=1e-9)


@pytest.mark.parametrize("early", BATTERY_STEPS)
def test_a_step_whose_reading_is_there_is_passed(any_desk: Desk, early: str) -> None:
    log: list[Event] = [at_step(any_desk, early)]
    asked: list[str | None] = []
    for _ in range(3):
        step = answer(any_desk, *log).next.step
        asked.append(step)
        log.append(at_step(any_desk, str(step)))
    assert asked == [step for step in BATTERY_STEPS if step != early]
    views = walk_steps(any_desk, fold(job(any_desk, *log)), answer(any_desk, *log))
    assert {view.name for view in views if view.status == "done"} >= set(BATTERY_STEPS)


def test_the_map_of_the_walk_tells_done_from_not_needed_and_jumped_over() -> None:
    at = desk("front-battery")

    def statuses(*log: Event) -> dict[str, str]:
        told = fold(job(at, *log))
        return {view.name: view.status for view in walk_steps(at, told, assess(at, told))}

    safe = CautionsRead(cautions=list(at.cautions.cautions))
    read = [at_step(at, name) for name in ("battery-resting", "battery-cranking", "positive-drop")]
    new = statuses()
    assert (new["make-safe"], new["battery-resting"], new["done"]) == ("here", "ahead", "ahead")
    within = statuses(safe, *read)
    assert within["ground-drop"] == "here"
    assert {name: within[name] for name in ("make-safe", "battery-resting", "positive-drop", "split-positive")} == {
        "make-safe": "done",
        "battery-resting": "done",
        "positive-drop": "done",
        "split-positive": "ahead",
    }
    assert within["split-ground"] == "ahead"
    over = at_step(at, "ground-drop", at.limits.side_v(at.circuit, "ground") + 0.4)
    # Within the limit, so there was nothing to split on the positive side.
    bad_ground = statuses(safe, *read, over)
    assert (bad_ground["split-positive"], bad_ground["split-ground"]) == ("not-needed", "here")
    jumped = statuses(safe, read[0], Jumped(step="ground-drop"))
    assert [jumped[name] for name in ("battery-resting", "battery-cranking", "positive-drop", "ground-drop")] == [
        "done",
        "jumped-over",
        "jumped-over",
        "here",
    ]
    barred = statuses(safe, read[0], read[1], OutOfReach(point="starter-b-stud"))
    assert (barred["positive-drop"], barred["ground-drop"]) == ("jumped-over", "here")
    assert jumped["split-positive"] == "ahead"


def test_either_way_round_is_the_same_span(any_desk: Desk) -> None:
    taken = at_step(any_desk, "positive-drop")
    turned = ReadingTaken(state="cranking", red=taken.black, black=taken.red, value=-float(taken.value))
    before = at_step(any_desk, "battery-resting"), at_step(any_desk, "battery-cranking")
    one, other = answer(any_desk, *before, taken), answer(any_desk, *before, turned)
    assert odds(one) == pytest.approx(odds(other), abs=1e-12)
    assert one.next.step == other.next.step == "ground-drop"
    assert other.warnings == one.warnings


STEPS = [
    (name, step)
    for name in circuit_names()
    for step, made in desk(name).flow.steps.items()
    if made.kind in (StepKind.ASK, StepKind.MEASURE, StepKind.CAUTION)
]


@pytest.mark.parametrize(("circuit", "step"), STEPS)
def test_a_jump_goes_where_it_says_and_back(circuit: str, step: str) -> None:
    at = desk(circuit)
    taken = [at_step(at, name) for name in BATTERY_STEPS[:2]]
    here = answer(at, *taken).next
    assert answer(at, *taken, Jumped(step=step)).next.step == step
    # What was asked for by the walk is there again as soon as something was done at the other step.
    home = here.step or "positive-drop"
    assert answer(at, *taken, Jumped(step=step), Jumped(step=home)).next.step == home


@PLANS
@pytest.mark.parametrize(
    "step", ["recommend", "prove", "split-positive", "split-ground", "split-contacts", "done", "watch-it"]
)
def test_a_jump_to_a_step_with_nothing_to_do_yet_still_says_what_comes_next(
    any_desk: Desk, step: str, plan: Plan
) -> None:
    made = answer(any_desk, at_step(any_desk, "battery-resting"), Jumped(step=step), plan=plan)
    assert made.next.kind in ("ask", "measure")


@PLANS
def test_a_jump_to_the_end_of_a_job_without_a_repair_says_that_tests_are_left(any_desk: Desk, plan: Plan) -> None:
    volts = ReadingTaken(state="cranking", red="battery-positive-post", black="starter-b-stud", value=1.3)
    made = answer(any_desk, volts, Jumped(step="nothing-shown"), plan=plan)
    assert (made.next.kind, made.next.step) == ("finish", "nothing-shown")
    assert "there are tests left that may" in made.next.why


@PLANS
def test_a_jump_is_over_once_its_reading_is_taken(any_desk: Desk, plan: Plan) -> None:
    contacts = at_step(any_desk, "contacts-drop")
    jumped = answer(any_desk, Jumped(step="contacts-drop"), contacts, plan=plan)
    assert jumped.next == answer(any_desk, contacts, plan=plan).next


@PLANS
def test_a_struck_reading_counts_for_nothing_and_stays_in_the_record(any_desk: Desk, plan: Plan) -> None:
    good = at_step(any_desk, "battery-resting"), at_step(any_desk, "battery-cranking")
    wrong = at_step(any_desk, "positive-drop", 4.0)
    plain = answer(any_desk, *good, plan=plan)
    struck = answer(any_desk, good[0], wrong, ReadingStruck(reading=2, why="not under load"), good[1], plan=plan)
    assert odds(struck) == pytest.approx(odds(plain), abs=1e-12)
    assert struck.next == plain.next
    assert [(r.id, bool(r.struck)) for r in struck.readings] == [(1, False), (2, True), (3, False)]
    assert (struck.readings[1].volts, struck.readings[1].note) == (4.0, "not under load")


def test_a_marginal_reading_is_split_like_one_over_the_limit(front_desk: Desk) -> None:
    limit = front_desk.limits.side_v(front_desk.circuit, "positive")
    battery = [at_step(front_desk, step) for step in BATTERY_STEPS[:2]]
    read = [*battery, at_step(front_desk, "positive-drop", limit + 0.02)]
    made = answer(front_desk, *read)
    assert (made.readings[2].judgement, made.readings[2].limit_v) == ("marginal", limit)
    # Both sides are read before either is split: both can be bad.
    assert made.next.step == "ground-drop"
    assert answer(front_desk, *read, at_step(front_desk, "ground-drop")).next.step == "split-positive"


POINTS = [
    (circuit, plan, point)
    for circuit, plan in (("front-battery", "walk"), ("remote-battery", "fastest"))
    for point in desk(circuit).circuit.points
]


@pytest.mark.parametrize(("circuit", "plan", "point"), POINTS)
def test_a_point_out_of_reach_is_never_asked_for(circuit: str, plan: Plan, point: str) -> None:
    at = desk(circuit)
    part = "long-cable" if circuit == "remote-battery" else "positive-cable"
    found = follow(at, bad(at, part), plan, out_of_reach=frozenset({point}))
    leads = {lead for e in found.log if isinstance(e, ReadingTaken) for lead in (e.red, e.black)}
    assert leads
    assert point not in leads
    assert found.repair in (f"replace-{part}", "no-repair")


@PLANS
def test_a_repair_is_proved_by_the_span_that_showed_the_fault(any_desk: Desk, plan: Plan) -> None:
    fault = bad(any_desk, "positive-clamp")
    found = follow(any_desk, fault, plan)
    finding = found.assessment.finding
    assert finding is not None
    shown = {frozenset((r.red, r.black)) for r in found.assessment.readings if r.id in finding.evidence}
    log = [*found.log, Repaired(repair=finding.repair)]
    first = assess(any_desk, fold(log), plan, cautions_read=True).next
    assert first.kind == "prove"
    # The repair took it off, and start is held next.
    assert "ground-lead-first" in (first.cautions or [])
    red, black = (any_desk.circuit.map.points[point].label for point in (first.red or "", first.black or ""))
    # What a difference of two readings showed is measured straight across.
    straight = {frozenset(any_desk.circuit.parts["positive-clamp"].part.between)}
    again = ", as before" if len(shown) == 1 else ""
    assert first.why.startswith(
        f"Put the ground lead back on, last. Then measure from {red} to {black} with start held{again}, after: "
    )
    assert frozenset((first.red, first.black)) in (shown if len(shown) == 1 else straight)
    done = prove(any_desk, found, plan)
    assert (done.kind, done.step) == ("finish", "done")
    assert "won back" in done.why


@PLANS
def test_a_repair_that_did_not_help_sends_the_walk_on(any_desk: Desk, plan: Plan) -> None:
    fault = bad(any_desk, "positive-clamp")
    found = follow(any_desk, fault, plan)
    log: list[Event] = [*found.log, Repaired(repair=found.repair)]
    proofs = 0
    while (asked := assess(any_desk, fold(log), plan, cautions_read=True).next).kind == "prove":
        proofs += 1
        log.append(read(any_desk.circuit, fault.condition, asked))
        assert proofs <= 3
    assert proofs
    made = assess(any_desk, fold(log), plan, cautions_read=True)
    assert made.next.kind in ("ask", "measure", "repair")
    assert made.next.step != "done"
    before = [r for r in made.readings if r.before_repair]
    assert len(before) == found.readings
    assert sum(odds(made).values()) == pytest.approx(1.0, abs=1e-9)


# Keys of `next` by its kind: those that are always there, and those that may be.
ALWAYS = {
    "ask": {"kind", "why", "step", "choices", "minutes"},
    "measure": {"kind", "why", "state", "minutes", "cautions"},
    "repair": {"kind", "why", "repair", "minutes", "cautions"},
    "prove": {"kind", "why", "state", "minutes", "cautions"},
    "finish": {"kind", "why"},
}
ANSWER_KEYS = {"circuit", "flow", "readings", "suspects", "repairs", "next", "finding", "warnings"}
READING_KEYS = {"id", "state", "judgement", "doubt"}


@PLANS
@pytest.mark.parametrize("part", ["positive-clamp", "negative-clamp", "start-switch", "solenoid-contacts"])
def test_every_answer_on_the_way_keeps_to_the_contract(any_desk: Desk, part: str, plan: Plan) -> None:
    ohm = 3.0 if part == "start-switch" else 0.003
    found = follow(any_desk, bad(any_desk, part, ohm), plan)
    log = [*found.log, Repaired(repair=found.repair)]
    kinds: set[str] = set()
    for length in range(1, len(log) + 1):
        made = assess(any_desk, fold(log[:length]), plan, cautions_read=True).to_json()
        assert set(made) == ANSWER_KEYS
        assert (made["circuit"], made["flow"]) == (any_desk.circuit.map.circuit, "no-crank-clicks")
        kinds.add(made["next"]["kind"])
        assert set(made["next"]) >= ALWAYS[made["next"]["kind"]]
        if made["next"]["kind"] in ("measure", "prove"):
            assert ("clamp" in made["next"]) != ({"red", "black"} <= set(made["next"]))
        if made["next"]["kind"] == "ask":
            assert "not-sure" in made["next"]["choices"]
        assert sum(row["probability"] for row in made["repairs"]) == pytest.approx(1.0, abs=1e-9)
        assert {row["repair"] for row in made["repairs"]} <= {*any_desk.circuit.repairs, "no-repair"}
        for suspect in made["suspects"]:
            assert {"part", "fault", "probability", "repair"} <= set(suspect)
            assert 0.0 <= suspect["probability"] <= 1.0 + 1e-9
        for reading in made["readings"]:
            assert set(reading) >= READING_KEYS
            assert {"red", "black", "expected_v"} <= set(reading) or {"clamp", "amps", "expected_a"} <= set(reading)
        if made["finding"] is not None:
            assert set(made["finding"]) == {"repair", "statement", "evidence", "cautions"}
            assert set(made["finding"]["evidence"]) <= {reading["id"] for reading in made["readings"]}
            assert made["finding"]["evidence"]
            assert made["finding"]["cautions"]
    assert {"measure", "prove"} <= kinds


def test_a_negative_reading_is_swapped_leads(any_desk: Desk) -> None:
    swapped = answer(any_desk, at_step(any_desk, "positive-drop", -0.8))
    right = answer(any_desk, at_step(any_desk, "positive-drop", 0.8))
    assert any("swapped" in warning and "eading 1" in warning for warning in swapped.warnings)
    assert not any("swapped" in warning for warning in right.warnings)
    assert swapped.readings[0].volts == 0.8
    assert odds(swapped) == pytest.approx(odds(right), abs=1e-12)


def test_an_open_span_is_over_its_limit_and_no_number(any_desk: Desk) -> None:
    made = answer(
        any_desk,
        at_step(any_desk, "battery-resting"),
        at_step(any_desk, "positive-drop").model_copy(update={"value": "open"}),
    )
    shown = made.to_json()["readings"][1]
    assert (shown["open"], shown["judgement"]) == (True, "over")
    assert "volts" not in shown
    inside = set(any_desk.circuit.path(*any_desk.circuit.runs["positive"]) or ())
    assert made.suspects[0].part in inside


def test_a_clamp_reading_ties_the_current_down(any_desk: Desk) -> None:
    clamp = next(n for n in any_desk.circuit.main_loop if any_desk.circuit.parts[n].part.kind == "cable")
    without = answer(any_desk, at_step(any_desk, "battery-resting"))
    made = answer(
        any_desk, at_step(any_desk, "battery-resting"), ReadingTaken(state="cranking", clamp=clamp, value=165.0)
    )
    shown = made.to_json()["readings"][1]
    assert (shown["clamp"], shown["amps"], shown["judgement"]) == (clamp, 165.0, "not-judged")
    assert made.current_a is not None
    assert without.current_a is not None
    assert made.current_a[0] < 165.0 < made.current_a[1]
    width, before = made.current_a[1] - made.current_a[0], without.current_a[1] - without.current_a[0]
    assert width < 0.5 * before


def test_an_answer_is_replaced_by_a_later_one(any_desk: Desk) -> None:
    first, later = (Answered(step="turn-by-hand", choice=choice) for choice in ("hard-to-turn", "turns-freely"))
    assert odds(answer(any_desk, first, later)) == pytest.approx(odds(answer(any_desk, later)), abs=1e-12)
    assert odds(answer(any_desk, first)) != pytest.approx(odds(answer(any_desk, later)), abs=1e-3)
