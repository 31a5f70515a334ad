"""The store on disk: what it keeps, what it refuses, and who may write at once."""

import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from wizard.errors import DropwalkError
from wizard.record.store import SCHEMA_VERSION, Store, default_path
from wizard.walk.events import Complaint, Noted, ReadingTaken, Renamed, Repaired, Started, StartSeen

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
STARTED = Started(title="test rig", complaint=Complaint(circuit="front-battery"))


def reading(volts):
    return ReadingTaken(state="cranking", red="chassis", black="engine-block", value=volts)


def test_events_come_back_in_order_with_their_time(store):
    job = store.create(STARTED, AT)
    assert store.append(job, AT, reading(0.1), Noted(text="wet")) == 3
    stored = store.events(job)
    assert [line.seq for line in stored] == [1, 2, 3]
    assert [line.event for line in stored] == [STARTED, reading(0.1), Noted(text="wet")]
    assert all(line.at == AT for line in stored)
    assert [line.seq for line in store.events(job, after=2)] == [3]


def test_a_repair_has_the_day_it_was_recorded_on_and_starts_before_that_prove_nothing(store):
    complaint = Complaint(circuit="front-battery", intermittent=True)
    job = store.create(Started(title="van", complaint=complaint), AT)
    day = AT.astimezone().date()
    store.append(job, AT, StartSeen(good=False, engine="cold", times=5), StartSeen(good=True, engine="cold", times=5))
    store.append(job, AT, Repaired(repair="clean-b-stud-joint"))
    assert store.events(job)[-1].event.day == day
    store.append(job, AT, StartSeen(good=True, engine="cold", times=90, day=day - timedelta(days=1)))
    assert (store.jobs()[0].follow_up, store.jobs()[0].starts_left > 0) == ("counting", True)


def test_every_commit_is_synced_to_disk(store):
    assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert store._db.execute("PRAGMA synchronous").fetchone() == (2,)


def test_the_list_says_what_a_job_is_about(store):
    first = store.create(STARTED, AT)
    complaint = Complaint(circuit="remote-battery", symptom="no-click")
    second = store.create(Started(title="other", complaint=complaint), AT)
    store.append(first, AT.replace(hour=9), reading(0.1), reading(0.2))
    store.append(first, AT.replace(hour=10), Renamed(title="new name"))
    listed = store.jobs()
    assert [job.id for job in listed] == [first, second]
    assert listed[0].title == "new name"
    assert listed[0].readings == 2
    assert listed[0].last_reading.taken == reading(0.2)
    assert listed[0].updated == AT.replace(hour=10)
    assert (listed[1].circuit, listed[1].symptom, listed[1].last_reading) == ("remote-battery", "no-click", None)


def test_an_archived_job_is_off_the_list_and_whole(store):
    job = store.create(STARTED, AT)
    store.archive(job)
    assert store.jobs() == []
    assert [line.id for line in store.jobs(archived=True)] == [job]
    assert len(store.events(job)) == 1
    store.archive(job, False)
    assert [line.id for line in store.jobs()] == [job]


@pytest.mark.parametrize(
    "use",
    [
        lambda store: store.events(7),
        lambda store: store.append(7, AT, reading(1.0)),
        lambda store: store.archive(7),
        lambda store: store.created(7),
    ],
)
def test_a_job_that_is_not_there_is_named(store, use):
    with pytest.raises(DropwalkError, match="there is no job 7"):
        use(store)


def test_events_are_recorded_together_or_not_at_all(store):
    job = store.create(STARTED, AT)
    unreadable = Noted.model_construct(text="a\x1b[2J")
    with pytest.raises(DropwalkError, match=r"can't be recorded.*U\+001B"):
        store.append(job, AT, reading(0.1), unreadable)
    assert len(store.events(job)) == 1
    store.append(job, AT, reading(0.2))
    assert store.events(job)[-1].seq == 2


def test_an_event_of_an_unknown_kind_is_refused_and_kept(store):
    job = store.create(STARTED, AT)
    body = '{"kind": "x-rayed", "at": "once"}'
    store._db.execute("INSERT INTO events VALUES (?, 2, ?, ?)", (job, AT.isoformat(), body))
    with pytest.raises(DropwalkError, match=r"event 2 of job 1 .*x-rayed"):
        store.events(job)
    (listed,) = store.jobs()
    assert "event 2 of job 1" in listed.trouble
    assert (listed.title, listed.events) == ("test rig", 2)
    assert store._db.execute("SELECT body FROM events WHERE seq = 2").fetchone() == (body,)


def test_a_newer_store_is_refused_untouched(tmp_path):
    path = tmp_path / "jobs.sqlite3"
    with Store(path) as store:
        store.create(STARTED, AT)
        store._db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(DropwalkError, match="written by a newer dropwalk"):
        Store(path)
    assert path.read_bytes() == before


def test_another_programs_database_is_refused_untouched(tmp_path):
    path = tmp_path / "other.sqlite3"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE songs (title TEXT)")
    before = path.read_bytes()
    with pytest.raises(DropwalkError, match="another program's database"):
        Store(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "content", [b"not a database at all, just words " * 50, bytes(range(1, 256)) * 32], ids=["words", "bytes"]
)
def test_a_file_that_is_no_database_is_refused_untouched(tmp_path, content):
    path = tmp_path / "jobs.sqlite3"
    path.write_bytes(content)
    with pytest.raises(DropwalkError, match="damaged or is no store"):
        Store(path)
    assert path.read_bytes() == content


def test_a_damaged_store_is_told(tmp_path):
    path = tmp_path / "jobs.sqlite3"
    with Store(path) as store:
        job = store.create(STARTED, AT)
        store.append(job, AT, *(reading(n / 100) for n in range(200)))
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(DropwalkError, match="damaged"), Store(path) as store:
        store.jobs()


@pytest.mark.parametrize("place", ["taken/jobs.sqlite3", "taken/more/jobs.sqlite3", "folder"])
def test_a_place_that_cannot_be_written_is_told(tmp_path, place):
    (tmp_path / "taken").write_text("a file where a folder should be")
    (tmp_path / "folder").mkdir()
    with pytest.raises(DropwalkError, match="--store"):
        Store(tmp_path / place)


def test_a_store_held_by_another_is_waited_for_and_then_told(tmp_path, monkeypatch):
    monkeypatch.setattr("wizard.record.store._BUSY_MS", 50)
    path = tmp_path / "jobs.sqlite3"
    with Store(path) as store, Store(path) as other:
        job = store.create(STARTED, AT)
        other._db.execute("BEGIN IMMEDIATE")
        with pytest.raises(DropwalkError, match="another program holds"):
            store.append(job, AT, reading(0.1))
        other._db.execute("ROLLBACK")
        assert store.append(job, AT, reading(0.1)) == 2


def test_the_environment_names_the_store(tmp_path, monkeypatch):
    monkeypatch.setenv("DROPWALK_STORE", str(tmp_path / "mine"))
    assert default_path() == tmp_path / "mine"
    monkeypatch.delenv("DROPWALK_STORE")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert default_path().is_relative_to(tmp_path)


WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from wizard.record.store import Store
from wizard.walk.events import Noted
with Store(Path(sys.argv[1])) as store:
    for number in range(int(sys.argv[3])):
        store.append(1, datetime.now(UTC), Noted(text=f"{sys.argv[2]} {number}"))
"""


def test_two_processes_write_to_one_job_at_once(tmp_path):
    path = tmp_path / "jobs.sqlite3"
    count = 150
    with Store(path) as store:
        store.create(STARTED, AT)
        writers = [
            subprocess.Popen([sys.executable, "-c", WRITER, str(path), name, str(count)]) for name in ("left", "right")
        ]
        assert [writer.wait(60) for writer in writers] == [0, 0]
        stored = store.events(1)
    assert [line.seq for line in stored] == list(range(1, 2 * count + 2))
    texts = [line.event.text for line in stored[1:]]
    for name in ("left", "right"):
        assert [text for text in texts if text.startswith(name)] == [f"{name} {n}" for n in range(count)]


def test_two_processes_make_one_store_at_once(tmp_path):
    path = tmp_path / "jobs.sqlite3"
    make = "import sys; from pathlib import Path; from wizard.record.store import Store; Store(Path(sys.argv[1]))"
    makers = [subprocess.Popen([sys.executable, "-c", make, str(path)]) for _ in range(4)]
    assert [maker.wait(60) for maker in makers] == [0] * 4
    with Store(path) as store:
        assert store.jobs() == []
