"""The SQLite store of jobs: what was acknowledged is on disk and stays there."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pydantic import ValidationError

from wizard.errors import DropwalkError
from wizard.quantities import printable
from wizard.walk.events import EVENT, Event, Renamed, Repaired, Started
from wizard.walk.follow_up import follow_up
from wizard.walk.state import JobState, Reading, fold

SCHEMA_VERSION = 1
# "drop" in ASCII: tells this store from another program's SQLite file.
_APPLICATION_ID = 0x64726F70
_BUSY_MS = 5000
_SCHEMA = """
CREATE TABLE jobs (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    title TEXT NOT NULL,
    created TEXT NOT NULL,
    archived INTEGER NOT NULL DEFAULT 0
);
CREATE TABLE events (
    job INTEGER NOT NULL REFERENCES jobs (id),
    seq INTEGER NOT NULL,
    at TEXT NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (job, seq)
) WITHOUT ROWID;
"""
ENVIRONMENT = "DROPWALK_STORE"


def default_path() -> Path:
    """Where jobs are kept: the environment's `DROPWALK_STORE`, or a file in the user's data directory."""
    if named := os.environ.get(ENVIRONMENT):
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("dropwalk", appauthor=False)) / "jobs.sqlite3"


@dataclass(frozen=True)
class Stored:
    """One event as it is on disk; `seq` counts a job's events from 1 and `at` is UTC."""

    seq: int
    at: datetime
    event: Event


@dataclass(frozen=True)
class JobSummary:
    """A job in a list. `trouble` says why its events can't be read; then the rest is not known.

    `follow_up` is where the counting of starts stands after a repair of a fault that comes and goes, and `starts_left`
    how many more good ones in a row are wanted.
    """

    id: int
    title: str
    created: datetime
    updated: datetime
    archived: bool
    events: int
    circuit: str | None = None
    symptom: str | None = None
    scenario: str | None = None
    readings: int = 0
    repairs: int = 0
    last_reading: Reading | None = None
    follow_up: str | None = None
    starts_left: int = 0
    trouble: str | None = None


class Store:
    """The jobs in one SQLite file. Several processes may have it open; each event gets a number of its own.

    Every method raises DropwalkError for what the user can put right: no such job, a damaged or foreign file,
    a place that can't be written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with self._explained():
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, timeout=_BUSY_MS / 1000, isolation_level=None)
        try:
            with self._explained():
                self._prepare()
        except BaseException:
            self._db.close()
            raise

    def close(self) -> None:
        """Let go of the file; everything recorded is on disk already."""
        self._db.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def create(self, started: Started, at: datetime) -> int:
        """A new job with its first event; its id."""
        return self.add([(at, started)], at)

    def add(self, events: list[tuple[datetime, Event]], created: datetime) -> int:
        """A new job with all these events, or none of it; its id."""
        title = fold(event for _, event in events).title
        with self._writing():
            cursor = self._db.execute("INSERT INTO jobs (title, created) VALUES (?, ?)", (title, created.isoformat()))
            job = cursor.lastrowid
            assert job is not None
            self._insert(job, 1, events)
        return job

    def append(self, job: int, at: datetime, *events: Event) -> int:
        """Put these events at the end of the job, together; the last one's number, once they are on disk."""
        with self._writing():
            self._must_exist(job)
            (last,) = self._db.execute("SELECT coalesce(max(seq), 0) FROM events WHERE job = ?", (job,)).fetchone()
            self._insert(job, last + 1, [(at, event) for event in events])
            for event in events:
                if isinstance(event, Renamed):
                    self._db.execute("UPDATE jobs SET title = ? WHERE id = ?", (event.title, job))
        return last + len(events)

    def events(self, job: int, after: int = 0) -> list[Stored]:
        """The job's events in order, from the one behind number `after`.

        An event that this version does not know is refused, never passed over: the state would be wrong.
        """
        with self._explained():
            self._must_exist(job)
            rows = self._db.execute(
                "SELECT seq, at, body FROM events WHERE job = ? AND seq > ? ORDER BY seq", (job, after)
            ).fetchall()
        return [self._stored(job, *row) for row in rows]

    def archive(self, job: int, archived: bool = True) -> None:
        """Take the job off the list, or put it back; nothing in it changes."""
        with self._writing():
            self._must_exist(job)
            self._db.execute("UPDATE jobs SET archived = ? WHERE id = ?", (int(archived), job))

    def created(self, job: int) -> datetime:
        """When the job was opened, UTC."""
        with self._explained():
            self._must_exist(job)
            (created,) = self._db.execute("SELECT created FROM jobs WHERE id = ?", (job,)).fetchone()
        return datetime.fromisoformat(created)

    def jobs(self, *, archived: bool = False) -> list[JobSummary]:
        """Every job, the one last worked on first; archived ones only when asked for."""
        with self._explained():
            rows = self._db.execute(
                "SELECT id, title, created, archived, count(seq), coalesce(max(at), created)"
                " FROM jobs LEFT JOIN events ON job = id WHERE archived = 0 OR ? GROUP BY id"
                " ORDER BY 6 DESC, id DESC",
                (archived,),
            ).fetchall()
        return [self._summary(*row) for row in rows]

    def _summary(self, job: int, title: str, created: str, archived: int, count: int, updated: str) -> JobSummary:
        known = JobSummary(
            job,
            title,
            datetime.fromisoformat(created),
            datetime.fromisoformat(updated),
            bool(archived),
            count,
        )
        try:
            state = fold(stored.event for stored in self.events(job))
        except DropwalkError as error:
            return JobSummary(**{**vars(known), "trouble": str(error)})
        return JobSummary(**{**vars(known), **_told_by(state)})

    def _insert(self, job: int, first: int, events: list[tuple[datetime, Event]]) -> None:
        self._db.executemany(
            "INSERT INTO events (job, seq, at, body) VALUES (?, ?, ?, ?)",
            [(job, first + number, at.isoformat(), _body(event)) for number, (at, event) in enumerate(events)],
        )

    def _stored(self, job: int, seq: int, at: str, body: str) -> Stored:
        try:
            when = datetime.fromisoformat(at)
            return Stored(seq, when, _dated(EVENT.validate_json(body), when))
        except (ValidationError, ValueError):
            raise DropwalkError(
                f"event {seq} of job {job} in {self.path} is unknown to this version: {printable(body)[:80]}"
                "\nNothing was changed. Open the job with the dropwalk that wrote it, or a newer one."
            ) from None

    def _must_exist(self, job: int) -> None:
        if self._db.execute("SELECT 1 FROM jobs WHERE id = ?", (job,)).fetchone() is None:
            raise DropwalkError(f"there is no job {job}; `dropwalk jobs` lists them")

    def _prepare(self) -> None:
        (version,) = self._db.execute("PRAGMA user_version").fetchone()
        if version == 0:
            with self._writing():
                # Another process may have come first.
                (version,) = self._db.execute("PRAGMA user_version").fetchone()
                if version == 0:
                    if self._db.execute("SELECT 1 FROM sqlite_master").fetchone():
                        raise self._foreign()
                    for statement in _SCHEMA.split(";"):
                        self._db.execute(statement)
                    self._db.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
                    self._db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        (application,) = self._db.execute("PRAGMA application_id").fetchone()
        if application != _APPLICATION_ID:
            raise self._foreign()
        if version > SCHEMA_VERSION:
            raise DropwalkError(
                f"the jobs in {self.path} were written by a newer dropwalk (store version {version}; this one"
                f" knows {SCHEMA_VERSION}). Nothing was changed. Update, or name another file with --store."
            )
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")
        self._db.execute("PRAGMA foreign_keys = ON")

    def _foreign(self) -> DropwalkError:
        return DropwalkError(
            f"{self.path} is another program's database, not a store of jobs. Name another file with --store."
        )

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction, on disk when the block ends, undone whole when it fails."""
        with self._explained():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Whatever the disk or the database says, in the user's words."""
        try:
            yield
        except sqlite3.OperationalError as error:
            raise DropwalkError(self._operational(str(error))) from error
        except sqlite3.DatabaseError as error:
            raise DropwalkError(
                f"{self.path} is damaged or is no store of jobs ({error}). Keep a copy of it, move it away"
                " and bring back a copy from before, or name another file with --store."
            ) from error
        except OSError as error:
            raise DropwalkError(
                f"{self.path} can't be used: {error.strerror or error}. Name a file that you may write with --store."
            ) from error

    def _operational(self, reason: str) -> str:
        if "locked" in reason:
            return f"another program holds {self.path}; nothing was recorded. Close it and try again."
        if "full" in reason:
            return f"the disk is full; nothing was recorded in {self.path}. Make room and try again."
        return f"{self.path} can't be used: {reason}. Name a file that you may write with --store."


def _dated(event: Event, at: datetime) -> Event:
    """A repair that does not say its day was done on the day that it was recorded, where this program runs."""
    if isinstance(event, Repaired) and event.day is None:
        return event.model_copy(update={"day": at.astimezone().date()})
    return event


def _body(event: Event) -> str:
    """The event as JSON, held to be readable again before it is written."""
    body = EVENT.dump_json(event).decode()
    try:
        EVENT.validate_json(body)
    except ValidationError as error:
        # The reader of YAML, which this comes with, is not needed to open a store.
        from wizard.files.yamltext import dotted

        reason = error.errors()[0]
        raise DropwalkError(f"this can't be recorded: {dotted(reason['loc'])}: {reason['msg']}") from None
    return body


def _told_by(state: JobState) -> dict[str, object]:
    complaint = state.complaint
    view = follow_up(state)
    followed = bool(state.repairs) and (bool(complaint and complaint.intermittent) or bool(state.starts))
    return {
        "circuit": complaint.circuit if complaint else None,
        "symptom": str(complaint.symptom) if complaint and complaint.symptom else None,
        "scenario": state.scenario,
        "readings": len(state.standing),
        "repairs": len(state.repairs),
        "last_reading": state.standing[-1] if state.standing else None,
        "follow_up": view.status if followed else None,
        "starts_left": sum(tally.left for tally in view.tallies) if followed else 0,
    }
