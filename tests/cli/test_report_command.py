"""`dropwalk report`: a job on record, a job file or an exported job, and what is wrong with the words."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.events import Complaint, Noted, ReadingTaken, StartSeen

JOB = """\
job: test rig
circuit: remote-battery
symptom: one-click
intermittent: true
readings:
  - {good: false, engine: cold, times: 2}
  - {good: true, engine: cold, times: 3}
  - {state: cranking, red: battery-positive-post, black: starter-b-stud, value: 2.3 V}
  - {state: cranking, red: isolator-in-stud, black: isolator-out-stud, value: 1.92 V}
  - {minutes: 20, work: found it}
  - {per_hour: 60}
  - {repaired: replace-isolator}
  - {what: isolator, price: 44.5}
  - {good: true, engine: cold, times: 4, day: 2026-03-02}
  - {state: cranking, red: battery-positive-post, black: starter-b-stud, value: 0.47 V}
"""


@pytest.fixture
def recorded(tmp_path):
    """A job on record with one reading, a minute after it was opened."""
    moments = iter(datetime(2026, 3, 2, 8, n, tzinfo=UTC) for n in range(60))
    with Store(tmp_path / "jobs.sqlite3") as store:
        session = Session.create(store, "grey van", Complaint(circuit="front-battery"), now=lambda: next(moments))
        session.record(ReadingTaken(state="cranking", red="starter-case", black="engine-block", value=0.86))
        session.record(StartSeen(good=True, engine="hot"), Noted(text="greasy"))
    return session.job_id


def test_a_job_file_is_reported_with_starts_labour_and_parts(run, tmp_path):
    (tmp_path / "rig.yaml").write_text(JOB)
    done = run("report", "rig.yaml", "--to", "rig.json")
    assert (done.exit_code, done.stdout) == (0, "the report is in rig.json\n")
    made = json.loads((tmp_path / "rig.json").read_text())
    assert made["title"] == "test rig"
    assert [line["value"] for line in made["readings"]] == ["2.30 V", "1.92 V", "0.47 V"]
    assert made["repairs"][0]["repair"] == "replace-isolator"
    # 20 min at 60 an hour and the part; 2 failures in 5 want 0.6^6 = 0.047 for 95 %.
    assert made["totals"]["total"] == pytest.approx(64.5)
    assert (made["starts"][0]["in_a_row"], made["starts"][0]["needed_95"]) == (4, 6)
    assert made["starts"][0]["days"] == ["2026-03-02"]


def test_a_job_on_record_and_its_export_have_the_same_report_with_times(run, tmp_path, recorded):
    assert run("report", recorded, "--to", "one.json").exit_code == 0
    assert run("jobs", "export", recorded, "job.json").exit_code == 0
    assert run("report", "job.json", "--to", "two.json").exit_code == 0
    one, two = (json.loads((tmp_path / name).read_text()) for name in ("one.json", "two.json"))
    at = datetime.fromisoformat(one["readings"][0]["at"])
    assert at.astimezone(UTC) - datetime(2026, 3, 2, 8, 0, tzinfo=UTC) < timedelta(minutes=5)
    assert one["job"] == recorded
    assert two["job"] is None
    for made in (one, two):
        made["written"] = made["job"] = None
    assert one == two


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("rig.yaml", "--to", "rig.doc"), "use .html"),
        (("rig.yaml", "--to", "no/where.md"), "can't be written"),
        (("rig.yaml", "--to", "rig.yaml"), "use .html"),
        (("9", "--to", "rig.md"), "no job 9"),
        (("9" * 15, "--to", "rig.md"), "no job 999"),
        (("9" * 5000, "--to", "rig.md"), "999"),
        (("no.yaml", "--to", "rig.md"), "no.yaml:1:1: there is no such file"),
        (("limits.yaml", "--to", "rig.md"), "`report` reads a job file or an exported job"),
        (("bad.yaml", "--to", "rig.md"), "bad.yaml:4:"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(run, tmp_path, words, told):
    (tmp_path / "rig.yaml").write_text(JOB)
    (tmp_path / "limits.yaml").write_text("limits: mine\n")
    (tmp_path / "bad.yaml").write_text(
        "job: a\ncircuit: remote-battery\nreadings:\n  - {good: perhaps, engine: cold}\n"
    )
    before = {path.name for path in tmp_path.iterdir()}
    done = run("report", *words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert done.stdout == ""
    assert {path.name for path in tmp_path.iterdir()} - {"jobs.sqlite3"} <= before | {
        "jobs.sqlite3-wal",
        "jobs.sqlite3-shm",
    }


def test_a_report_needs_no_screens(tmp_path):
    (tmp_path / "rig.yaml").write_text(JOB)
    code = "import sys; from wizard.cli import cli; cli(standalone_mode=False); print(*sys.modules)"
    for ending in ("html", "pdf"):
        words = ["report", str(tmp_path / "rig.yaml"), "--to", str(tmp_path / f"rig.{ending}")]
        done = subprocess.run(
            [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True, timeout=60
        )
        assert not {"textual", "rich"} & set(done.stdout.split())
        assert ("typst" in done.stdout.split()) == (ending == "pdf")


def test_a_report_that_is_there_is_kept_until_it_may_be_replaced(run, tmp_path):
    (tmp_path / "rig.yaml").write_text(JOB)
    (tmp_path / "rig.md").write_text("mine")
    assert run("report", "rig.yaml", "--to", "rig.md").exit_code == 2
    assert (tmp_path / "rig.md").read_text() == "mine"
    assert run("report", "rig.yaml", "--to", "rig.md", "--replace").exit_code == 0
    assert (tmp_path / "rig.md").read_text().startswith("# test rig")
