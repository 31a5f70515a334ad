"""A job as one file: out and back without loss, and nothing bad in."""

import json
from datetime import UTC, datetime

import pytest
from any_events import LATER, STARTED
from hypothesis import given, settings
from hypothesis import strategies as st

from wizard.errors import BadFile, DropwalkError
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.record.transfer import export_job, import_job
from wizard.walk.events import (
    CostStruck,
    MinutesLogged,
    Noted,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    StartSeen,
    StartStruck,
    TakenBack,
)
from wizard.walk.state import fold

DROP = ReadingTaken(state="cranking", red="chassis", black="engine-block", value=0.86)


@pytest.fixture
def exported(session, tmp_path):
    """A job's export as data, and a way to import it again after a change."""
    session.record(DROP, ReadingStruck(reading=1), Noted(text='wet: "x" \\ \t ☃ 😀\nsecond line'))
    data = json.loads(export_job(session.store, session.job_id))

    def bring_in(changed):
        file = tmp_path / "job.json"
        file.write_text(changed if isinstance(changed, str) else json.dumps(changed, ensure_ascii=False))
        return import_job(session.store, file)

    return data, bring_in


def test_an_imported_job_is_a_new_job_with_the_same_log(session, exported):
    data, bring_in = exported
    new = bring_in(data)
    assert new != session.job_id
    assert session.store.events(new) == session.log
    assert json.loads(export_job(session.store, new)) == data
    assert {job.id for job in session.store.jobs()} == {session.job_id, new}


def change(path, value):
    """A change to exported data at one path."""

    def apply(data):
        *steps, last = path
        for step in steps:
            data = data[step]
        data[last] = value

    return apply


BAD_RECORDS = [
    (change(["record"], 2), "there is no choice '2' here; allowed: 1"),
    (change(["events"], []), "too few; the least is 1"),
    (change(["events", 0], {"at": "2026-01-01T00:00:00Z", "event": {"kind": "noted", "text": "x"}}), "kind started"),
    (change(["events", 1, "event", "kind"], "x-rayed"), "there is no kind 'x-rayed' here; allowed: started"),
    (change(["events", 1, "event", "kind"], "started"), "events.1.event.title: the key 'title' is missing"),
    (change(["events", 1, "event", "volts"], 1), "there is no key 'volts' here; allowed: kind, state, red"),
    (change(["events", 1, "event", "red"], "../x"), "events.1.event.red: '../x' is not an id"),
    (change(["events", 1, "event", "black"], "chassis"), "red and black are on the same point"),
    (change(["events", 1, "event", "black"], "bonnet"), "events.1.event.black: the map 'front-battery' has no point"),
    (change(["events", 0, "event", "flow"], "steam"), "events.0.event.flow: there is no flow 'steam'"),
    (
        change(["events", 0, "event", "complaint", "changes"], {"parts": {"sail": {"length": "1 m"}}}),
        "events.0.event.complaint.changes.parts.sail: the map has no part 'sail'",
    ),
    (change(["events", 2, "event", "reading"], 2), "there is no reading 2 before this"),
    (change(["events", 3, "event", "text"], "a\u202eb"), "the character U+202E is not allowed"),
    (change(["events", 3, "event", "text"], "x" * 5000), "5000 characters are too many; 4000 are allowed"),
    (change(["events", 3, "at"], "yesterday"), "events.3.at: write a date and time here; found yesterday"),
    (change(["events", 3, "at"], "2026-01-01T00:00:00"), "events.3.at: write the date and time with its zone"),
    (change(["events", 3, "at"], "0001-01-01T00:00:00+14:00"), "no job was worked on in the year 1"),
    (change(["created"], None), "created: write a date and time here; found nothing"),
    (change(["extra"], 1), "there is no key 'extra' here; allowed: record, created, events"),
]


@pytest.mark.parametrize(("spoil", "words"), BAD_RECORDS)
def test_a_bad_record_is_refused_with_its_place(session, exported, spoil, words):
    data, bring_in = exported
    spoil(data)
    with pytest.raises(BadFile) as caught:
        bring_in(data)
    assert words in str(caught.value)
    assert len(session.store.jobs()) == 1


def test_every_problem_of_a_record_is_named(exported):
    data, bring_in = exported
    data["events"][1]["event"]["red"] = "A B"
    data["events"][3]["event"]["text"] = 5
    with pytest.raises(BadFile) as caught:
        bring_in(json.dumps(data, indent=1))
    assert [problem.field for problem in caught.value.problems] == ["events.1.event.red", "events.3.event.text"]
    assert caught.value.problems[0].line < caught.value.problems[1].line


def test_a_job_on_a_map_that_is_not_here_is_kept_for_when_it_is(session, exported, now):
    data, bring_in = exported
    data["events"][0]["event"]["complaint"]["circuit"] = "/maps/mine.yaml"
    new = bring_in(data)
    with pytest.raises(DropwalkError, match=r"there is no circuit map .*mine\.yaml"):
        Session.open(session.store, new, now).assess("walk")


@pytest.mark.parametrize(
    "text",
    ["", "[]", "null", "{", '{"record": 1}', "\0", '{"record": NaN}', pytest.param("{" * 5000, id="deep")],
)
def test_what_is_no_record_is_refused(session, exported, text):
    with pytest.raises(BadFile):
        exported[1](text)
    assert len(session.store.jobs()) == 1


def test_a_huge_file_is_refused_unread(exported):
    with pytest.raises(BadFile, match="larger than 8 MB"):
        exported[1](" " * 8_000_001)


MOMENTS = st.datetimes(datetime(1971, 1, 1), datetime(2999, 1, 1), timezones=st.just(UTC))


@settings(max_examples=40, deadline=None)
@given(started=STARTED, later=st.lists(LATER, max_size=8), at=MOMENTS)
def test_any_job_goes_out_and_comes_back_the_same(tmp_path_factory, started, later, at):
    readings = costs = starts = 0
    log = [started]
    for event in later:
        corrected = event.instead_of if isinstance(event, ReadingTaken) else None
        readings += isinstance(event, ReadingTaken)
        starts += isinstance(event, StartSeen)
        costs += isinstance(event, MinutesLogged | PartPriced)
        sound = not (isinstance(event, ReadingStruck) and not 1 <= event.reading <= readings)
        sound = sound and not (isinstance(event, CostStruck) and not 1 <= event.entry <= costs)
        sound = sound and not (isinstance(event, StartStruck) and not 1 <= event.entry <= starts)
        sound = sound and not (corrected is not None and not 1 <= corrected < readings)
        sound = sound and not (isinstance(event, TakenBack) and event.event > len(log))
        if sound and not (isinstance(event, ReadingTaken) and list(event.inconsistencies())):
            log.append(event)
        else:
            readings -= isinstance(event, ReadingTaken)
    folder = tmp_path_factory.mktemp("transfer")
    with Store(folder / "jobs.sqlite3") as store:
        first = store.add([(at, event) for event in log], at)
        (folder / "job.json").write_text(export_job(store, first), encoding="utf-8")
        second = import_job(store, folder / "job.json")
        assert store.events(second) == store.events(first)
        assert fold(stored.event for stored in store.events(second)) == fold(log)
        assert store.created(second) == at
