"""What a technician in the bay would not forgive, each a job of its own.

Common practice, no source; the readings are invented.
"""

from __future__ import annotations

import pytest

from tests.diagnosis.test_reasoning import FEED, GROUND, POSTS, job, taken
from tests.vehicles import read
from wizard.circuit.load import Condition
from wizard.walk.assessment import Assessment
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, Event, FailsNow, OutOfReach, ReadingTaken, Repaired
from wizard.walk.walker import Plan

PLANS = pytest.mark.parametrize("plan", ["walk", "fastest"])
CONTACTS, MOTOR = ("starter-b-stud", "motor-stud"), ("motor-stud", "starter-case")
CONTROL, COIL = ("battery-positive-post", "s-terminal"), ("s-terminal", "starter-case")
RESTS = taken(*POSTS, 12.62, "resting")


def clamp(part: str, amps: float) -> ReadingTaken:
    return ReadingTaken(state="cranking", clamp=part, value=amps)


def likeliest(answer: Assessment) -> str:
    return answer.repairs[0].repair


@PLANS
def test_a_fault_that_comes_and_goes_is_not_given_up_before_anything_was_read(remote_desk: Desk, plan: Plan) -> None:
    answer = job(remote_desk, plan=plan, symptom="rapid-clicks", intermittent=True)
    assert answer.next.kind in ("measure", "ask")


def test_nothing_is_called_sound_before_the_whole_loop_was_read(remote_desk: Desk) -> None:
    log: list[Event] = []
    vehicle = Condition(demand_a=170.0)
    while (answer := job(remote_desk, *log, symptom="cranks-normally")).next.kind != "finish":
        asked = answer.next
        if asked.kind == "ask":
            log.append(Answered(step=str(asked.step), choice="not-sure"))
        else:
            log.append(read(remote_desk.circuit, vehicle, asked))
    spans = {frozenset((e.red, e.black)) for e in log if isinstance(e, ReadingTaken)}
    assert frozenset(POSTS) in spans
    assert answer.finding is None
    for red, black in (FEED, CONTACTS, GROUND):
        joined, grown = {red}, True
        while grown:
            near = {end for span in spans if span & joined and frozenset(POSTS) != span for end in span if end}
            joined, grown = joined | near, not near <= joined
        assert black in joined


@pytest.mark.parametrize(
    ("told", "there"),
    [
        ([Answered(step="wiggle", choice="isolator-feed-joint"), taken(*FEED, 0.45, acting_up=False)], None),
        (
            [
                Answered(step="wiggle", choice="isolator-feed-joint"),
                taken(*FEED, 0.45, acting_up=False),
                Answered(step="many-cranks", choice="it-failed"),
            ],
            True,
        ),
        ([taken(*FEED, 0.45, acting_up=False), FailsNow(fails=True)], True),
        ([Answered(step="many-cranks", choice="it-failed"), FailsNow(fails=False)], None),
    ],
    ids=["read and gone", "provoked again", "said so", "said gone"],
)
def test_what_was_last_said_of_a_fault_that_comes_and_goes_holds(
    remote_desk: Desk, told: list[Event], there: bool | None
) -> None:
    log = [RESTS, taken(*POSTS, 11.6), taken(*GROUND, 0.12), *told]
    answer = job(remote_desk, *log, plan="walk", intermittent=True)
    asked = answer.next if answer.next.kind == "measure" else job(remote_desk, *log, intermittent=True).next
    assert (asked.acting_up if asked.kind == "measure" else None) == there


@PLANS
def test_where_a_fault_comes_and_goes_the_difference_of_two_cranks_cleans_nothing(
    remote_desk: Desk, plan: Plan
) -> None:
    """The strap's joint was bad in the last crank and not in the second: the mounting between them is sound."""
    log: list[Event] = [
        clamp("rear-cable", 240.0),
        taken("engine-block", "body-front", 0.061),
        taken(*POSTS, 11.01),
        taken(*POSTS, 12.66, "resting"),
        taken(*FEED, 0.614),
        taken("negative-clamp-body", "battery-negative-post", 0.03),
        taken(*GROUND, 0.465),
        taken("starter-case", "body-front", 0.362),
    ]
    told = {"symptom": "cranks-slowly", "intermittent": True, "plan": plan}
    across = ("starter-case", "engine-block")
    answer = job(remote_desk, *log, **told)  # type: ignore[arg-type]
    assert answer.finding is None
    assert (answer.next.red, answer.next.black) == across
    assert "a fault that was there in one of them would do the same" in answer.next.why
    sound = job(remote_desk, *log, taken(*across, 0.022), **told)  # type: ignore[arg-type]
    assert sound.finding is None or sound.finding.repair != "clean-starter-mounting"


@PLANS
def test_no_starter_is_condemned_behind_a_circuit_that_loses_half_the_battery(remote_desk: Desk, plan: Plan) -> None:
    answer = job(
        remote_desk,
        RESTS,
        taken(*POSTS, 12.27),
        taken(*FEED, 5.59),
        taken(*GROUND, 0.07),
        taken(*CONTACTS, 0.03),
        taken(*MOTOR, 6.55),
        Answered(step="heard-now", choice="one-click"),
        plan=plan,
    )
    assert answer.finding is None or answer.finding.repair not in ("replace-starter", "free-the-engine")


def test_a_joint_that_is_read_bad_is_found_although_what_was_replaced_before_is_still_suspected(
    remote_desk: Desk,
) -> None:
    joint = ("bulkhead-feed-lug", "bulkhead-stud")
    low = [RESTS, taken(*POSTS, 11.9), taken(*MOTOR, 8.2), Answered(step="heard-now", choice="one-click")]
    again = [RESTS, taken(*POSTS, 12.3), taken(*FEED, 5.5), taken(*joint, 5.24), taken(*joint, 5.3)]
    answer = job(remote_desk, *low, Repaired(repair="replace-starter"), *again)
    assert answer.finding is not None
    assert answer.finding.repair == "clean-bulkhead-feed-joint"


@PLANS
def test_open_contacts_leave_the_pull_in_current_on_a_sound_control_side(front_desk: Desk, plan: Plan) -> None:
    """40 A through its 15.7 mohm are 0.63 V: past the limit for the holding current, and no fault of wire or switch."""
    answer = job(
        front_desk,
        RESTS,
        taken(*POSTS, 12.40),
        taken(*CONTACTS, 12.20),
        taken(*CONTROL, 0.62),
        taken("switch-feed", "s-terminal", 0.32),
        plan=plan,
    )
    assert answer.finding is not None
    assert answer.finding.repair == "replace-solenoid"


@PLANS
def test_a_coil_is_judged_on_the_volts_across_it_and_not_on_zeros(front_desk: Desk, plan: Plan) -> None:
    zeros = [RESTS, taken(*POSTS, 12.62), taken(*FEED, 0.0), taken(*GROUND, 0.0), taken(*CONTROL, 0.0)]
    assert job(front_desk, *zeros, plan=plan, symptom="no-click").finding is None
    # With the key on other consumers load the feed, so that it loses a little although the coil draws nothing.
    live = [*zeros[:4], taken("battery-positive-post", "switch-feed", 0.09), taken(*CONTROL, 0.09), taken(*COIL, 12.4)]
    answer = job(front_desk, *live, Answered(step="heard-now", choice="no-click"), plan=plan, symptom="no-click")
    assert answer.finding is not None
    assert answer.finding.repair == "replace-solenoid"
    assert "its coil is open (reading 7)" in answer.finding.statement


STANDS = [
    RESTS,
    taken(*POSTS, 9.6),
    taken(*FEED, 0.55),
    taken(*GROUND, 0.33),
    taken(*CONTACTS, 0.1),
    taken(*MOTOR, 8.6),
    clamp("positive-cable", 440.0),
    Answered(step="heard-now", choice="one-click"),
    taken(*CONTROL, 0.15),
]


@PLANS
def test_a_starter_that_stands_on_a_high_current_is_not_condemned_before_the_engine_was_turned(
    front_desk: Desk, plan: Plan
) -> None:
    """A jammed engine draws as much."""
    answer = job(front_desk, *STANDS, plan=plan)
    assert answer.finding is None
    assert answer.next.step == "turn-by-hand"
    hard = job(front_desk, *STANDS, Answered(step="turn-by-hand", choice="hard-to-turn"), plan=plan)
    assert hard.finding is None or hard.finding.repair == "free-the-engine"
    free = job(front_desk, *STANDS, Answered(step="turn-by-hand", choice="turns-freely"), plan=plan)
    assert free.finding is not None
    assert free.finding.repair == "replace-starter"
    # The clamp's own figure, where there is one.
    assert "about 440 A" in free.finding.statement
    # Where no hand could be put on the engine, the starter's own test is what is left to show it.
    unturned = [*STANDS, Answered(step="turn-by-hand", choice="not-sure")]
    assert job(front_desk, *unturned).next.step == "bench-test"
    failed = job(front_desk, *unturned, Answered(step="bench-test", choice="fails-the-test"), plan=plan)
    assert failed.finding is not None
    assert failed.finding.repair == "replace-starter"


@PLANS
def test_an_engine_that_cranks_as_it_should_is_not_turned_by_hand(front_desk: Desk, plan: Plan) -> None:
    log = [RESTS, taken(*POSTS, 11.6), taken(*FEED, 0.18), taken(*GROUND, 0.11), taken(*CONTACTS, 0.03)]
    log += [taken(*MOTOR, 11.25), taken(*CONTROL, 0.17)]
    heard = Answered(step="heard-now", choice="cranks-normally")
    for answer in (job(front_desk, *log, plan=plan, intermittent=True), job(front_desk, *log, heard, plan=plan)):
        assert answer.next.step != "turn-by-hand"


def test_no_click_leads_to_the_control_side_before_the_heavy_one(front_desk: Desk) -> None:
    answer = job(front_desk, RESTS, taken(*POSTS, 12.6), plan="walk", symptom="no-click")
    assert answer.next.step == "control-drop"


@PLANS
def test_a_way_beside_another_that_is_open_is_told_though_it_costs_nothing(front_desk: Desk, plan: Plan) -> None:
    answer = job(
        front_desk,
        RESTS,
        taken(*POSTS, 11.6),
        taken(*FEED, 0.18),
        taken(*GROUND, 0.14),
        clamp("chassis-cable", 0.0),
        taken(*CONTACTS, 0.03),
        taken(*MOTOR, 11.2),
        taken(*CONTROL, 0.17),
        taken("engine-block", "chassis", 0.13),
        taken("chassis", "negative-clamp-body", 0.0),
        Answered(step="heard-now", choice="cranks-normally"),
        Answered(step="turn-by-hand", choice="turns-freely"),
        plan=plan,
        symptom="cranks-normally",
    )
    assert answer.next.kind == "finish"
    assert "Bad all the same: the body strap from the block to the chassis" in answer.next.why
    assert "replace the body strap" in answer.next.why
    assert "Nothing wrong" not in answer.next.why


def test_between_two_neighbours_the_cheaper_is_done_first(remote_desk: Desk) -> None:
    answer = job(
        remote_desk,
        OutOfReach(point="isolator-in-stud"),
        RESTS,
        taken(*POSTS, 11.5),
        taken(*FEED, 1.6),
        taken(*GROUND, 0.16),
        taken("battery-positive-post", "isolator-out-stud", 1.15),
        taken("battery-positive-post", "isolator-feed-lug", 0.05),
        symptom="cranks-slowly",
        air=15,
    )
    assert answer.next.kind == "finish"
    assert "Begin with the cheapest, clean and tighten the feed lug on the isolator" in answer.next.why


@PLANS
def test_what_was_cleaned_twice_and_reads_as_before_ends_the_job(front_desk: Desk, plan: Plan) -> None:
    lug = ("starter-lug", "starter-b-stud")
    log: list[Event] = [RESTS, taken(*POSTS, 11.6), taken(*FEED, 1.4), taken(*GROUND, 0.12), taken(*lug, 1.2)]
    for _ in range(2):
        log += [Repaired(repair="clean-b-stud-joint"), taken(*lug, 1.15), taken(*FEED, 1.35)]
    answer = job(front_desk, *log, plan=plan, symptom="cranks-slowly")
    assert answer.next.kind == "finish"
    assert "replace the lug, clamp or stud" in answer.next.why


def test_a_part_that_loses_too_little_to_explain_it_is_told_as_that(front_desk: Desk) -> None:
    cable = ("positive-clamp-body", "starter-lug")
    log = [RESTS, taken(*POSTS, 11.6), taken(*FEED, 0.46), taken(*GROUND, 0.11), taken(*CONTACTS, 0.03)]
    small = job(front_desk, *log, taken(*cable, 0.42), taken(*cable, 0.42), symptom="cranks-slowly")
    assert small.finding is not None
    assert small.finding.repair == "replace-positive-cable"
    assert "That is 2% of the battery's volts: worth the repair, and too little to explain it alone." in (
        small.finding.statement
    )
    log[2] = taken(*FEED, 3.4)
    large = job(front_desk, *log, taken(*cable, 3.3), taken(*cable, 3.3), symptom="cranks-slowly")
    assert large.finding is not None
    assert "too little" not in large.finding.statement


def test_a_finding_on_one_side_tells_that_the_other_is_over_its_limit_too(remote_desk: Desk) -> None:
    isolator = ("isolator-in-stud", "isolator-out-stud")
    log = [RESTS, taken(*POSTS, 11.5), taken(*FEED, 1.3), taken(*GROUND, 0.9), taken(*isolator, 0.85)]
    answer = job(remote_desk, *log, taken(*isolator, 0.85), symptom="cranks-slowly")
    assert answer.finding is not None
    assert answer.finding.repair == "replace-isolator"
    assert "The ground side loses 0.90 V where practice allows 0.20 V: that comes next." in answer.finding.statement


def test_a_slow_crank_that_no_reading_explains_is_not_called_sound(front_desk: Desk) -> None:
    log = [RESTS, taken(*POSTS, 11.1), taken(*FEED, 0.26), taken(*GROUND, 0.16), taken(*CONTACTS, 0.04)]
    log += [taken(*MOTOR, 10.6), taken(*CONTROL, 0.17), clamp("positive-cable", 218.0)]
    slow = [
        Answered(step="heard-now", choice="cranks-slowly"),
        Answered(step="turn-by-hand", choice="turns-freely"),
        Answered(step="bench-test", choice="passes-the-test"),
    ]
    answer = job(front_desk, *log, *slow, symptom="cranks-slowly")
    assert answer.next.kind == "finish"
    assert "It still does not crank as it should, and no reading shows why" in answer.next.why
    slow[1] = Answered(step="turn-by-hand", choice="hard-to-turn")
    hard = job(front_desk, *log, *slow, symptom="cranks-slowly")
    assert hard.finding is not None or "what drags in the engine" in hard.next.why


def test_what_was_read_while_it_failed_is_told_at_the_end(remote_desk: Desk) -> None:
    given = {"wiggle": "not-sure", "warm-it": "not-sure", "many-cranks": "not-sure", "turn-by-hand": "not-sure"}
    log: list[Event] = [
        RESTS,
        taken(*POSTS, 11.7),
        taken(*FEED, 0.45),
        taken(*GROUND, 0.12),
        taken(*CONTACTS, 0.03),
        taken(*MOTOR, 11.0),
        taken(*CONTROL, 0.17),
        taken(*FEED, 4.1, acting_up=True),
        FailsNow(fails=False),
        *(Answered(step=step, choice=choice) for step, choice in given.items()),
    ]
    sound = Condition(demand_a=165.0)
    while (answer := job(remote_desk, *log, intermittent=True)).next.kind != "finish":
        log.append(read(remote_desk.circuit, sound, answer.next))
    assert "While it failed, reading 8 was past its limit, from battery positive post to starter B stud" in (
        answer.next.why
    )
