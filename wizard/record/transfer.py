"""A job as one JSON file, to keep or to hand on, and back into a store as a job of its own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, AwareDatetime, Field, TypeAdapter

from wizard.circuit.map import Checked
from wizard.circuit.map import Path as FieldPath
from wizard.errors import DropwalkError
from wizard.files import shelf
from wizard.files.plainwords import checked, refuse
from wizard.files.yamltext import Document, read_document
from wizard.record.fit import event_misfits
from wizard.record.store import Store
from wizard.walk.events import (
    CostStruck,
    Described,
    Event,
    MinutesLogged,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    Started,
    StartSeen,
    StartStruck,
    TakenBack,
)
from wizard.walk.jobfile import complaint_misfits
from wizard.walk.state import fold

# A job of ten thousand events is far below this.
LARGEST_BYTES = 8_000_000


def _in_utc(when: datetime) -> datetime:
    if not 1970 <= when.year <= 9000:
        raise ValueError(f"no job was worked on in the year {when.year}")
    return when.astimezone(UTC)


When = Annotated[AwareDatetime, AfterValidator(_in_utc)]


class RecordedEvent(Checked):
    """What happened, and when."""

    at: When
    event: Event


class JobRecord(Checked):
    """A whole job; `record` is the version of this format."""

    record: Literal[1] = 1
    created: When
    events: Annotated[list[RecordedEvent], Field(min_length=1, max_length=50_000)]

    def inconsistencies(self) -> Iterator[tuple[FieldPath, str]]:
        """A job that does not begin once, and readings that can't be or are not there."""
        readings = costs = starts = 0
        for number, line in enumerate(self.events):
            at: FieldPath = ("events", number, "event")
            match line.event:
                case Started() if number > 0:
                    yield at, "a job starts only once"
                case ReadingTaken(instead_of=corrected):
                    if corrected is not None and not 1 <= corrected <= readings:
                        yield (*at, "instead_of"), f"there is no reading {corrected} before this"
                    readings += 1
                case ReadingStruck(reading=struck) if not 1 <= struck <= readings:
                    yield (*at, "reading"), f"there is no reading {struck} before this"
                case StartSeen():
                    starts += 1
                case StartStruck(entry=struck) if not 1 <= struck <= starts:
                    yield (*at, "entry"), f"there is no entry {struck} of starts before this"
                case MinutesLogged() | PartPriced():
                    costs += 1
                case TakenBack(event=taken) if taken > number:
                    yield (*at, "event"), f"there is no event {taken} before this"
                case CostStruck(entry=struck) if not 1 <= struck <= costs:
                    yield (*at, "entry"), f"there is no entry {struck} of labour or parts before this"
                case _:
                    pass
            if number == 0 and not isinstance(line.event, Started):
                yield at, "the first event of a job must be of kind started"


_RECORD: TypeAdapter[JobRecord] = TypeAdapter(JobRecord)


def export_job(store: Store, job: int) -> str:
    """The job as JSON text. Raises DropwalkError."""
    lines = [RecordedEvent(at=stored.at, event=stored.event) for stored in store.events(job)]
    return _RECORD.dump_json(JobRecord(created=store.created(job), events=lines), indent=1).decode() + "\n"


def read_record(document: Document) -> JobRecord:
    """A document as a job's record. Raises BadFile with every problem in it.

    Names are held against the job's circuit map where that map is here; a map of the user's own may not be.
    """
    record = checked(document, JobRecord)
    refuse(document, _misfits(record))
    return record


def _misfits(record: JobRecord) -> Iterator[tuple[FieldPath, str]]:
    events = [line.event for line in record.events]
    state = fold(events)
    stands = dict(state.standing_events())
    told, complaint = [
        (n, e.complaint) for n, e in enumerate(events) if n + 1 in stands and isinstance(e, (Started, Described))
    ][-1]
    try:
        chart = shelf.circuit_map(complaint.circuit, Path("/"))
    except DropwalkError:
        return
    faults = list(complaint_misfits(complaint, chart))
    for path, message in faults:
        yield ("events", told, "event", "complaint", *path), message
    if faults:
        return
    try:
        desk = shelf.desk_for(complaint, state.flow, Path("/"))
    except DropwalkError as error:
        yield ("events", 0, "event", "flow"), str(error)
        return
    for number, event in enumerate(events):
        for path, message in event_misfits(event, desk):
            yield ("events", number, "event", *path), message


def import_job(store: Store, path: Path) -> int:
    """Add an exported job under an id of its own and return it. Raises BadFile; then nothing was added."""
    record = read_record(read_document(path, largest=LARGEST_BYTES))
    return store.add([(line.at, line.event) for line in record.events], record.created)
