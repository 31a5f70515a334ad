"""A fault that came and went is called gone only after enough good starts, hot and cold counted apart."""

from datetime import date

import pytest

from wizard.walk.events import FollowUp, Repaired, StartSeen, StartStruck
from wizard.walk.follow_up import follow_up
from wizard.walk.state import fold

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


def test_starts_taken_back_count_for_nothing():
    slip = StartSeen(good=False, engine="cold")
    assert tallies(*BEFORE, FIXED, good(4), slip, StartStruck(entry=4))["cold"].in_a_row == 4


def test_starts_show_something_also_where_nobody_counted_before():
    """30 clean tries give 92.6 % at 90 %: Quality Council of Indiana, reliability primer, zero-failure test."""
    told = tallies(FIXED, good(30))
    assert told["cold"].reliability == pytest.approx(0.926, abs=5e-4)
    assert told["cold"].confidence is None
    assert told["hot"].reliability == 0.0
