"""Labour, parts and starts in a stored job: recorded, taken back, and never lost."""

import pytest

from wizard.errors import DropwalkError
from wizard.record.session import Session
from wizard.record.transfer import export_job, import_job
from wizard.walk.events import CostStruck, FollowUp, LabourPriced, MinutesLogged, PartPriced, Repaired, StartSeen

LOG = [
    StartSeen(good=False, engine="cold", times=2, day="2026-03-01"),
    MinutesLogged(minutes=25, step="positive-drop"),
    Repaired(repair="clean-positive-clamp"),
    PartPriced(what="clamp", price=4.5),
    LabourPriced(per_hour=48),
    CostStruck(entry=1),
    FollowUp(open=False, why="sold"),
]


def test_what_was_recorded_is_there_after_a_restart_and_a_move(session, now, tmp_path):
    session.record(*LOG)
    assert [(cost.number, cost.struck) for cost in session.state.costs] == [(1, True), (2, False)]
    assert Session.open(session.store, session.job_id, now).state == session.state
    (tmp_path / "job.json").write_text(export_job(session.store, session.job_id))
    moved = Session.open(session.store, import_job(session.store, tmp_path / "job.json"), now)
    assert moved.state == session.state


@pytest.mark.parametrize(
    ("event", "told"),
    [
        (CostStruck(entry=1), "no entry 1 of labour or parts"),
        (MinutesLogged(minutes=5, step="polish-it"), "no step 'polish-it'"),
    ],
)
def test_an_entry_that_does_not_fit_is_refused_and_not_recorded(session, event, told):
    before = session.state
    with pytest.raises(DropwalkError, match=told):
        session.record(event)
    assert session.state == before


def test_an_entry_is_struck_only_once(session):
    session.record(PartPriced(what="clamp", price=4.5), CostStruck(entry=1))
    with pytest.raises(DropwalkError, match="no entry 1"):
        session.record(CostStruck(entry=1))
