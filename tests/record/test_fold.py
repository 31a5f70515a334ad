"""The state is a fold over whatever happened, and events survive being written down."""

from dataclasses import replace

import pytest
from any_events import ANY
from any_events import LATER as LATER_EVENT
from hypothesis import given
from hypothesis import strategies as st

from wizard.walk.events import (
    EVENT,
    Complaint,
    CostStruck,
    FollowUp,
    LabourPriced,
    MinutesLogged,
    Noted,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    Renamed,
    Repaired,
    Started,
    StartSeen,
    StartStruck,
    TakenBack,
)
from wizard.walk.state import fold

LOGS = st.lists(ANY, max_size=25)
LATER = st.lists(LATER_EVENT.filter(lambda event: not isinstance(event, TakenBack)), max_size=25)
START = Started(title="van", complaint=Complaint(circuit="front-battery"))


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
    struck |= {event.instead_of for event in log if isinstance(event, ReadingTaken)}
    taken_back = set(range(1, len(log) + 1)) - {number for number, _ in state.standing_events()}
    numbers = [number for number, event in enumerate(log, 1) if isinstance(event, ReadingTaken)]
    struck |= {count for count, number in enumerate(numbers, 1) if number in taken_back}
    assert {reading.number for reading in state.readings if reading.struck} <= struck
    assert set(state.current) <= set(state.standing) <= set(state.readings)


@given(LATER)
def test_whatever_happened_last_can_be_taken_back_and_nothing_of_it_counts(log):
    """Each event is taken back in its turn, and the job is then as it would be had it never happened."""
    state = fold([START, *log])
    while (last := state.last) is not None and last.number > 1:
        before = state.events
        state = state.after(TakenBack(event=last.number))
        assert state.events == before + 1
        assert _counted(state) == _counted(last.before)
        assert len(state.readings) == sum(isinstance(event, ReadingTaken) for event in log)
        assert all(reading.struck for reading in state.readings[len(last.before.readings) :])
    assert _counted(state) == _counted(fold([START]))


def _counted(state):
    """All of a state that decides anything: what is struck out only stays on the list."""
    return (
        replace(state, readings=(), starts=(), costs=()),
        state.standing,
        [starts for starts in state.starts if not starts.struck],
        [cost for cost in state.costs if not cost.struck],
    )


def test_only_the_last_thing_that_stands_is_taken_back():
    title = [Renamed(title="a"), Renamed(title="b")]
    assert fold([START, *title, TakenBack(event=2)]).title == "b"
    assert fold([START, *title, TakenBack(event=3), TakenBack(event=3)]).title == "a"
    assert fold([START, *title, TakenBack(event=3), TakenBack(event=2)]).title == START.title


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
