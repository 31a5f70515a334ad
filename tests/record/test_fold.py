"""The state is a fold over whatever happened, and events survive being written down."""

import pytest
from any_events import ANY
from hypothesis import given
from hypothesis import strategies as st

from wizard.walk.events import (
    EVENT,
    CostStruck,
    FollowUp,
    LabourPriced,
    MinutesLogged,
    Noted,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    Repaired,
    StartSeen,
    StartStruck,
)
from wizard.walk.state import fold

LOGS = st.lists(ANY, max_size=25)


@given(LOGS, st.integers(0, 25))
def test_a_fold_never_fails_and_may_be_split_anywhere(log, cut):
    whole = fold(log)
    assert fold(log[cut:], fold(log[:cut])) == whole
    assert fold(log) == whole


@given(LOGS)
def test_readings_are_only_ever_added_and_struck_out(log):
    state = fold(log)
    assert [reading.taken for reading in state.readings] == [e for e in log if isinstance(e, ReadingTaken)]
    struck = {event.reading for event in log if isinstance(event, ReadingStruck)}
    assert {reading.number for reading in state.readings if reading.struck} <= struck
    assert set(state.current) <= set(state.standing) <= set(state.readings)


@given(ANY)
def test_an_event_is_read_back_as_it_was_written(event):
    assert EVENT.validate_json(EVENT.dump_json(event)) == event


def test_starts_and_costs_are_only_ever_added_and_costs_struck_out():
    cold = StartSeen(good=False, engine="cold", times=3)
    work, part = MinutesLogged(minutes=25, work="cleaned the clamp"), PartPriced(what="clamp", price=4.5, count=2)
    state = fold([cold, work, part, Repaired(repair="clean-positive-clamp"), CostStruck(entry=1), CostStruck(entry=9)])
    state = fold([StartSeen(good=True, engine="hot"), LabourPriced(per_hour=40), FollowUp(open=False)], state)
    assert [(s.seen.good, s.repairs_before) for s in state.starts] == [(False, 0), (True, 1)]
    assert [(c.number, c.entry, c.struck) for c in state.costs] == [(1, work, True), (2, part, False)]
    assert [(s.number, s.struck) for s in fold([StartStruck(entry=2), StartStruck(entry=7)], state).starts] == [
        (1, False),
        (2, True),
    ]
    assert (state.labour_per_hour, state.follow_up_open) == (40, False)
    assert fold([Repaired(repair="clean-positive-clamp")], state).follow_up_open is None


def test_a_remark_on_a_reading_is_its_note_and_no_note_of_the_job():
    taken = ReadingTaken(state="cranking", red="a", black="b", value=0.5, note="wet morning")
    state = fold([taken, Noted(text="the lug was hot", reading=1), Noted(text="no such reading", reading=7)])
    assert state.readings[0].note == "wet morning; the lug was hot"
    assert state.readings[0].taken == taken
    assert state.notes == ()


def test_a_log_from_before_ranges_and_remarks_on_readings_still_reads():
    old = [
        '{"kind": "reading", "state": "cranking", "red": "a", "black": "b", "clamp": null, "value": 0.5, "crank": null,'
        ' "note": ""}',
        '{"kind": "noted", "text": "hello"}',
    ]
    state = fold(EVENT.validate_json(line) for line in old)
    assert (state.readings[0].taken.maximum, state.notes) == (None, ("hello",))


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({"minimum": 0.4, "maximum": 0.6}, False),
        ({}, False),
        ({"minimum": 0.4}, True),
        ({"minimum": 0.6, "maximum": 0.7}, True),
        ({"minimum": 0.4, "maximum": 0.6, "value": "open"}, True),
    ],
)
def test_a_value_lies_between_its_minimum_and_maximum(fields, wrong):
    taken = ReadingTaken.model_validate({"state": "cranking", "red": "a", "black": "b", "value": 0.5, **fields})
    assert bool(list(taken.inconsistencies())) is wrong
