"""The state is a fold over whatever happened, and events survive being written down."""

from any_events import ANY
from hypothesis import given
from hypothesis import strategies as st

from wizard.walk.events import EVENT, ReadingStruck, ReadingTaken
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
