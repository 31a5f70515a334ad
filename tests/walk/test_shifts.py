"""What each reading did to the odds."""

import pytest

from wizard.walk.desk import Desk
from wizard.walk.events import Complaint, Event, ReadingStruck, ReadingTaken, Repaired, Started
from wizard.walk.shifts import Shift, latest, odds_shifts
from wizard.walk.state import JobState, fold
from wizard.walk.walker import assess

POST = "battery-positive-post"


def cranking(black: str, volts: float, red: str = POST) -> ReadingTaken:
    return ReadingTaken(state="cranking", red=red, black=black, value=volts)


def job(*events: Event) -> list[Event]:
    return [Started(title="job", complaint=Complaint(circuit="remote-battery", symptom="cranks-slowly")), *events]


def told(desk: Desk, state: JobState, most: int = 12) -> list[Shift]:
    """In the order in which the readings were taken; they come the last one first."""
    return list(odds_shifts(desk, state, latest(state, most)))[::-1]


def test_the_moves_lead_from_the_first_reading_to_the_suspects_of_now(remote_desk: Desk) -> None:
    state = fold(job(cranking("starter-b-stud", 1.1), cranking("isolator-load-lug", 0.75)))
    shifts = told(remote_desk, state)
    assert [shift.reading.number for shift in shifts] == [1, 2]
    now = {(s.part, s.fault): s.probability for s in assess(remote_desk, state, cautions_read=True).suspects}
    last = {(move.part, move.fault): move.after for move in shifts[-1].moves}
    assert last
    assert {suspect: now.get(suspect, 0.0) for suspect in last} == pytest.approx(last, abs=0.005)
    rose = {(move.part, move.fault) for shift in shifts for move in shift.moves if move.after > move.before}
    assert max(now, key=lambda suspect: now[suspect]) in rose
    sizes = [abs(move.after - move.before) for move in shifts[0].moves]
    assert sizes == sorted(sizes, reverse=True)


def test_struck_readings_and_those_before_a_repair_do_nothing(remote_desk: Desk) -> None:
    struck = fold(job(cranking("starter-b-stud", 1.1), cranking("bulkhead-stud", 0.9), ReadingStruck(reading=1)))
    assert [shift.reading.number for shift in told(remote_desk, struck)] == [2]
    repaired = fold(job(cranking("starter-b-stud", 1.1), Repaired(repair="clean-isolator-load-joint")))
    assert told(remote_desk, repaired) == []


def test_no_more_than_asked_for_are_worked_out(remote_desk: Desk) -> None:
    state = fold(job(*(cranking("starter-b-stud", 1.1) for _ in range(5))))
    assert [shift.reading.number for shift in told(remote_desk, state, most=2)] == [4, 5]


def test_what_a_reading_did_does_not_hang_on_those_after_it(remote_desk: Desk) -> None:
    readings = cranking("starter-b-stud", 1.1), cranking("isolator-load-lug", 0.75), cranking("bulkhead-stud", 0.9)
    all_of_it, shorter = (told(remote_desk, fold(job(*readings[:count]))) for count in (3, 2))
    assert all_of_it[:2] == shorter
