"""A fault that came and went is called gone only after enough good starts, hot and cold counted apart."""

from datetime import date

import pytest

from tests.vehicles import read
from wizard.circuit.load import Condition
from wizard.record.repair_words import follow_up_words
from wizard.walk.assessment import Next
from wizard.walk.events import Answered, Complaint, FollowUp, Repaired, Started, StartSeen, StartStruck
from wizard.walk.follow_up import cold_room, follow_up
from wizard.walk.state import fold
from wizard.walk.walker import assess

BEFORE = [StartSeen(good=False, engine="cold", times=3), StartSeen(good=True, engine="cold", times=7)]
FIXED = Repaired(repair="clean-isolator-load-joint")


def good(times, engine="cold", day=None):
    return StartSeen(good=True, engine=engine, times=times, day=day)


def tallies(*log):
    return {tally.engine: tally for tally in follow_up(fold(log)).tallies}


def test_three_failures_in_ten_want_seven_and_nine_good_starts():
    # Worked by hand: 0.7^6 = 0.118, 0.7^7 = 0.082; 0.7^8 = 0.058, 0.7^9 = 0.040.
    cold = tallies(*BEFORE, FIXED, good(4, day=date(2026, 3, 2)), good(2, day=date(2026, 3, 3)))["cold"]
    assert (cold.failed_before, cold.tries_before, cold.needed_likely, cold.needed_sure) == (3, 10, 7, 9)
    assert (cold.in_a_row, cold.left, cold.days) == (6, 3, (date(2026, 3, 2), date(2026, 3, 3)))
    assert cold.confidence == pytest.approx(1 - 0.7**6)


@pytest.mark.parametrize(
    ("log", "status"),
    [
        (BEFORE, "no-repair"),
        ([FIXED, good(50)], "uncounted"),
        ([*BEFORE, FIXED, good(8)], "counting"),
        ([*BEFORE, FIXED, good(9)], "shown"),
        ([*BEFORE, FIXED, good(30, "hot")], "counting"),
        ([*BEFORE, StartSeen(good=False, engine="hot"), FIXED, good(30)], "counting"),
        ([*BEFORE, FIXED, good(9), FollowUp(open=False)], "closed"),
        ([*BEFORE, FIXED, good(9), FollowUp(open=False), FollowUp(open=True)], "counting"),
        ([*BEFORE, FIXED, FollowUp(open=False), StartSeen(good=False, engine="cold")], "failed-again"),
        ([*BEFORE, FIXED, StartSeen(good=False, engine="cold"), FIXED, good(1)], "counting"),
    ],
)
def test_where_the_follow_up_stands(log, status):
    assert follow_up(fold(log)).status == status


def test_a_failed_start_since_the_repair_breaks_the_row_and_counts_for_the_next_repair():
    failed = StartSeen(good=False, engine="cold")
    assert tallies(*BEFORE, FIXED, good(5), failed, good(2))["cold"].in_a_row == 2
    again = tallies(*BEFORE, FIXED, good(5), failed, FIXED)["cold"]
    assert (again.failed_before, again.tries_before, again.in_a_row) == (4, 16, 0)


def test_what_is_told_after_the_repair_of_the_time_before_it_counts_as_before():
    told = [StartSeen(good=e.good, engine="cold", times=e.times, before_repair=True) for e in BEFORE]
    assert tallies(FIXED, good(4), *told, good(2))["cold"] == tallies(*BEFORE, FIXED, good(6))["cold"]


def test_starts_of_a_day_before_the_repair_count_as_before_it_whenever_they_are_entered():
    done = Repaired(repair="clean-positive-clamp", day=date(2026, 11, 25))
    early = [good(3, day=date(2026, 11, day)) for day in (24, 23, 22)]
    view = follow_up(fold([*BEFORE, done, *early]))
    cold = view.tallies[0]
    assert (view.status, cold.in_a_row, cold.days) == ("counting", 0, ())
    assert (cold.failed_before, cold.tries_before) == (3, 10 + 9)
    assert follow_up_words(view, []).endswith(
        "Counted as before the repair, for their day is before its day: 3 on 2026-11-22; 3 on 2026-11-23; "
        "3 on 2026-11-24."
    )
    # The day of the repair itself, and starts whose day nobody knows, are taken at the user's word.
    assert tallies(*BEFORE, done, good(1, day=date(2026, 11, 25)), good(2))["cold"].in_a_row == 3


def test_starts_between_two_repairs_count_for_the_first():
    first, last = (Repaired(repair="clean-positive-clamp", day=date(2026, 11, day)) for day in (20, 25))
    state = fold([first, last, good(1, day=date(2026, 11, 24)), good(1, day=date(2026, 11, 19))])
    assert [(starts.repairs_before, starts.early) for starts in state.starts] == [(1, True), (0, True)]


def test_starts_taken_back_count_for_nothing():
    slip = StartSeen(good=False, engine="cold")
    assert tallies(*BEFORE, FIXED, good(4), slip, StartStruck(entry=4))["cold"].in_a_row == 4


def test_no_more_starts_of_a_day_than_an_engine_is_cold_for_pass_without_a_word():
    """About three a day, after six hours at rest or more: common practice, no source."""
    day, other = date(2026, 3, 2), date(2026, 3, 3)
    log = [
        *BEFORE,
        FIXED,
        good(1, day=day),
        StartSeen(good=False, engine="cold", times=5, day=day),
        good(4, "hot", day),
    ]
    assert (cold_room(fold(log), day), cold_room(fold(log), other)) == (2, 3)
    log += [good(2, day=day), good(3, day=other)]
    assert (cold_room(fold(log), day), tallies(*log)["cold"].crowded) == (0, ())
    log += [good(14, day=other)]
    assert tallies(*log)["cold"].crowded == ((other, 17),)
    # What was counted stays counted; taken back, it crowds nothing.
    assert tallies(*log)["cold"].in_a_row == 19
    assert cold_room(fold([*log, StartStruck(entry=8)]), other) == 0
    assert tallies(*log, StartStruck(entry=8))["cold"].crowded == ()
    assert follow_up_words(follow_up(fold(log)), []).endswith("than an engine is in a day: 17 on 2026-03-03.")


def test_starts_show_something_also_where_nobody_counted_before():
    """30 clean tries give 92.6 % at 90 %: Quality Council of Indiana, reliability primer, zero-failure test."""
    told = tallies(FIXED, good(30))
    assert told["cold"].reliability == pytest.approx(0.926, abs=5e-4)
    assert told["cold"].confidence is None
    assert told["hot"].reliability == 0.0


RUN, JOINT = ("battery-positive-post", "starter-b-stud"), ("isolator-out-stud", "isolator-load-lug")
PROOF = (
    *(JOINT, RUN, ("starter-case", "battery-negative-post"), ("battery-positive-post", "battery-negative-post")),
    *(("starter-b-stud", "motor-stud"), ("battery-positive-post", "s-terminal")),
)


@pytest.mark.parametrize(
    ("counted", "answer", "step", "told"),
    [
        ([*BEFORE, FIXED, good(9)], "enough", "done", ""),
        ([*BEFORE, FIXED, good(9)], "not-sure", "done", ""),
        ([*BEFORE, FIXED, good(9), FollowUp(open=False)], "enough", "done", ""),
        (
            [*BEFORE, FIXED, good(3)],
            "enough",
            "watch-it",
            "Not proved yet: 3 of 9 good starts in a row with a cold engine, 6 more wanted.",
        ),
        (
            # Two failures in four want five good starts for 95 %: 0.5^4 = 0.0625, 0.5^5 = 0.031.
            [
                *BEFORE,
                *(StartSeen(good=g, engine="hot", times=2) for g in (False, True)),
                FIXED,
                good(9),
                good(1, "hot"),
            ],
            "enough",
            "watch-it",
            "Not proved yet: 9 of 9 good starts in a row with a cold engine and 1 of 5 good starts in a row with a hot "
            "engine, 4 more wanted.",
        ),
        ([*BEFORE, FIXED, good(3), FollowUp(open=False)], "enough", "watch-it", "3 of 9 good starts"),
        ([FIXED, good(50)], "enough", "watch-it", "Not proved yet: nobody counted how often it failed before"),
        (
            [*BEFORE, FIXED, good(9), StartSeen(good=False, engine="cold")],
            "enough",
            "watch-it",
            "Not proved: it failed to start again after the repair.",
        ),
    ],
)
def test_the_answer_that_enough_were_counted_holds_as_far_as_the_count_bears_it_out(
    remote_desk, counted, answer, step, told
):
    def readings(excess, *spans):
        condition = Condition(excess, demand_a=remote_desk.circuit.demand_a[1])
        asked = [Next(kind="measure", why="", state="cranking", red=red, black=black) for red, black in spans]
        return [read(remote_desk.circuit, condition, ask).model_copy(update={"acting_up": True}) for ask in asked]

    complaint = Complaint(circuit="remote-battery", symptom="cranks-slowly", intermittent=True)
    log = [Started(title="", complaint=complaint), *readings({"isolator-load-joint": 4e-3}, RUN, JOINT)]
    for event in counted:
        log += [event, *(readings({}, *PROOF) if event is FIXED else [])]
    log += [Answered(step="cranks-now", choice="cranks-well")]
    asked = assess(remote_desk, fold(log), cautions_read=True)
    assert asked.next.step == "count-starts"
    end = assess(remote_desk, fold([*log, Answered(step="count-starts", choice=answer)]), cautions_read=True)
    assert (end.next.kind, end.next.step) == ("finish", step)
    assert end.next.why.startswith("The repair helped.")
    assert told in end.next.why
    assert ("ot proved" in end.next.why) is bool(told)
    assert end.standing is not None
    assert end.standing.stands == ("to-count" if told else "proved")
