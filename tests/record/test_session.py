"""A job being worked on: what is recorded, what is refused, and being where you were."""

from datetime import date
from pathlib import Path

import pytest

from wizard.errors import DropwalkError
from wizard.files.places import shipped
from wizard.record.session import Session
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Complaint,
    Cranked,
    Described,
    FailsNow,
    FollowUp,
    Jumped,
    LabourPriced,
    MinutesLogged,
    Noted,
    OutOfReach,
    ReadingStruck,
    ReadingTaken,
    Renamed,
    Repaired,
    RepairStruck,
    Started,
    StartSeen,
    TakenBack,
)

DROP = ReadingTaken(state="cranking", red="battery-positive-post", black="starter-b-stud", value=0.86)
AMPS = ReadingTaken(state="cranking", clamp="positive-cable", value=165.0)


def test_a_reopened_job_is_exactly_where_it_was(store, session, now):
    session.record(CautionsRead(cautions=["keep-clear"]))
    session.record(DROP)
    session.record(Answered(step="any-click", choice="one-click"), Jumped(step="ground-drop"))
    session.record(ReadingStruck(reading=1, why="slipped"), Cranked(seconds=4.0), Noted(text="wet"))
    again = Session.open(store, session.job_id, now)
    assert again.state == session.state
    assert again.log == session.log
    assert [stored.seq for stored in again.log] == list(range(1, 9))
    assert again.state.jumped_to == "ground-drop"


def test_a_job_cannot_be_opened_on_a_circuit_that_is_not_there(store, now):
    with pytest.raises(DropwalkError, match="there is no circuit map 'steam-engine'"):
        Session.create(store, "x", Complaint(circuit="steam-engine"), now=now)
    assert store.jobs() == []


def test_a_complaint_must_fit_its_map(store, now):
    complaint = Complaint.model_validate({"circuit": "front-battery", "history": {"recently-replaced": ["sail"]}})
    with pytest.raises(DropwalkError, match=r"history.recently-replaced.0: the map has no part 'sail'"):
        Session.create(store, "x", complaint, now=now)
    assert store.jobs() == []


REFUSED = [
    (DROP.model_copy(update={"red": "bonnet"}), "no point 'bonnet'"),
    (DROP.model_copy(update={"black": "battery-positive-post"}), "same point"),
    (DROP.model_copy(update={"value": 700.0}), "700 V is not possible"),
    (AMPS.model_copy(update={"clamp": "tow-bar"}), "no part 'tow-bar'"),
    (AMPS.model_copy(update={"value": 16500.0}), "16500 A is not possible"),
    (Answered(step="any-click", choice="loudly"), "no choice 'loudly'"),
    (Answered(step="nowhere", choice="one-click"), "no step 'nowhere'"),
    (Jumped(step="nowhere"), "no step 'nowhere'"),
    (Repaired(repair="polish-it"), "no repair 'polish-it'"),
    (OutOfReach(point="bonnet"), "no point 'bonnet'"),
    (ReadingStruck(reading=1), "no reading 1 that stands"),
    (CautionsRead(cautions=["mind-the-cat"]), "no caution 'mind-the-cat'"),
    (Described(complaint=Complaint(circuit="steam-engine")), "no circuit map 'steam-engine'"),
    (Started(title="again", complaint=Complaint(circuit="front-battery")), "started already"),
    (Renamed.model_construct(title="a\x1b[2J"), "can't be recorded"),
]


@pytest.mark.parametrize(("event", "words"), REFUSED)
def test_what_the_job_does_not_have_is_refused_and_not_recorded(session, event, words):
    before = session.state
    with pytest.raises(DropwalkError, match=words):
        session.record(Noted(text="together with it"), event)
    assert session.state is before
    assert len(session.store.events(session.job_id)) == 1


def test_a_new_complaint_makes_a_new_desk(session):
    first = session.desk
    session.record(DROP)
    assert session.desk is first
    session.record(Described(complaint=Complaint(circuit="remote-battery", air=-5.0)))
    assert session.desk.circuit.map.circuit == "remote-battery"
    assert session.desk.circuit.air_c == -5.0


def test_a_measured_job_does_not_move_to_a_map_without_its_points(session):
    session.record(ReadingTaken(state="cranking", red="chassis", black="engine-block", value=0.1))
    with pytest.raises(DropwalkError, match="'remote-battery' has no point 'chassis'"):
        session.record(Described(complaint=Complaint(circuit="remote-battery")))
    assert session.state.complaint.circuit == "front-battery"


def test_a_map_that_lost_a_point_since_is_told_not_crashed_on(store, now, tmp_path):
    text = (shipped("flows") / "circuits" / "front-battery.yaml").read_text()
    (tmp_path / "mine.yaml").write_text(text)
    made = Session.create(store, "x", Complaint(circuit="mine.yaml"), base=tmp_path, now=now)
    made.record(ReadingTaken(state="cranking", red="chassis", black="engine-block", value=0.1))
    (tmp_path / "mine.yaml").write_text(text.replace("chassis:", "frame:").replace("chassis", "frame"))
    with pytest.raises(DropwalkError, match="has no point 'chassis'"):
        Session.open(store, made.job_id, now).assess("walk")


def test_a_map_of_the_users_own_is_found_from_anywhere(store, now, tmp_path, monkeypatch):
    text = (shipped("flows") / "circuits" / "front-battery.yaml").read_text()
    (tmp_path / "mine.yaml").write_text(text.replace("circuit: front-battery", "circuit: mine"))
    made = Session.create(store, "x", Complaint(circuit="mine.yaml"), base=tmp_path, now=now)
    monkeypatch.chdir(Path("/"))
    assert Session.open(store, made.job_id, now).desk.circuit.map.circuit == "mine"


def test_taking_back_goes_from_the_last_thing_to_the_first_whatever_it_was(session):
    done = [
        Renamed(title="grey van, again"),
        Described(complaint=Complaint(circuit="front-battery", air=-5.0)),
        CautionsRead(cautions=["keep-clear"]),
        DROP,
        Noted(text="the lug was hot", reading=1),
        Answered(step="any-click", choice="no-click"),
        Answered(step="any-click", choice="one-click"),
        Jumped(step="ground-drop"),
        AMPS,
        FailsNow(fails=True),
        Cranked(seconds=3.0),
        OutOfReach(point="chassis"),
        ReadingStruck(reading=1),
        Repaired(repair="clean-b-stud-joint", day=date(2026, 3, 2)),
        DROP,
        StartSeen(good=True, engine="cold"),
        MinutesLogged(minutes=25, work="cleaned it"),
        LabourPriced(per_hour=60),
        FollowUp(open=False),
    ]
    states = []
    for event in done:
        states.append(session.state)
        session.record(event)
    for event, before in zip(reversed(done), reversed(states), strict=True):
        assert session.last_deed() == event
        assert session.take_back() == event
        assert session.state.standing == before.standing
        for name in ("title", "complaint", "answers", "answered_now", "repairs", "cautions_read", "jumped_to", "notes"):
            assert getattr(session.state, name) == getattr(before, name), (name, event)
        for name in ("out_of_reach", "cranks", "crank_seconds", "labour_per_hour", "follow_up_open", "fails_now"):
            assert getattr(session.state, name) == getattr(before, name), (name, event)
    assert session.take_back() is None
    # All of it is still on record.
    assert [stored.event for stored in session.log][1 : len(done) + 1] == done
    assert len(session.log) == 1 + 2 * len(done)
    assert [reading.struck for reading in session.state.readings] == [True] * 3
    assert session.state.costs[0].struck
    assert session.state.starts[0].struck


def test_a_correction_is_taken_back_whole(session):
    session.record(DROP)
    session.record(DROP.model_copy(update={"value": 0.7, "instead_of": 1}))
    assert [reading.struck for reading in session.state.readings] == [True, False]
    session.take_back()
    assert [reading.struck for reading in session.state.readings] == [False, True]
    with pytest.raises(DropwalkError, match="no reading 2 that stands"):
        session.record(DROP.model_copy(update={"instead_of": 2}))


def test_what_is_not_the_last_is_not_taken_back(session):
    session.record(DROP, AMPS)
    with pytest.raises(DropwalkError, match="not the last one"):
        session.record(TakenBack(event=2))
    assert len(session.state.standing) == 2


def test_a_repair_that_an_older_version_took_back_stays_taken_back(session):
    session.record(DROP, Repaired(repair="clean-b-stud-joint"), AMPS)
    with pytest.raises(DropwalkError, match="what was read after the repair first"):
        session.record(RepairStruck())
    session.take_back()
    session.record(RepairStruck())
    assert (session.state.repairs, len(session.state.current)) == ((), 1)
    with pytest.raises(DropwalkError, match="no repair to take back"):
        session.record(RepairStruck())


def test_a_circuit_that_readings_were_taken_on_since_is_not_taken_back(session):
    session.record(Described(complaint=Complaint(circuit="remote-battery")))
    session.record(ReadingTaken(state="cranking", red="bulkhead-stud", black="starter-b-stud", value=0.1))
    session.take_back()
    with pytest.raises(DropwalkError, match="no point 'bulkhead-stud'"):
        session.take_back()
    assert session.state.complaint.circuit == "remote-battery"


def test_what_another_process_adds_is_seen_at_the_next_event(store, session, now):
    other = Session.open(store, session.job_id, now)
    other.record(DROP)
    assert session.record(AMPS) == 3
    assert [reading.taken for reading in session.state.readings] == [DROP, AMPS]
    assert other.record(ReadingStruck(reading=2)) == 4
    assert other.state == Session.open(store, session.job_id, now).state


def test_the_answer_is_worked_out_once_for_each_state_and_plan(session):
    session.record(DROP)
    first = session.assess("walk")
    assert session.assess("walk") is first
    assert session.assess("fastest") is not first
    session.record(AMPS)
    second = session.assess("walk")
    assert second is not first
    assert [reading.id for reading in second.readings] == [1, 2]
