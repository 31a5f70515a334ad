from datetime import UTC, datetime, timedelta

import pytest

from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.events import Complaint


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "jobs.sqlite3") as opened:
        yield opened


@pytest.fixture
def now():
    """A clock that is a minute later each time it is read."""
    ticks = iter(range(10**6))
    return lambda: datetime(2026, 3, 2, 8, 0, tzinfo=UTC) + timedelta(minutes=next(ticks))


@pytest.fixture
def session(store, now):
    complaint = Complaint(circuit="front-battery", symptom="one-click", air=8.0)
    return Session.create(store, "test rig", complaint, now=now)
