"""The commands as a person or a script uses them."""

import json
from datetime import UTC, datetime

import pytest

from tests.vehicles import desk
from wizard.cli import cli
from wizard.files.places import shipped
from wizard.quantities import show_volts
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.events import Complaint, ReadingTaken
from wizard.walk.state import fold
from wizard.walk.walker import assess

SCENARIOS = shipped("scenarios")
JOB = """\
job: test rig
circuit: remote-battery
symptom: one-click
readings:
  - {state: cranking, red: battery-positive-post, black: battery-negative-post, value: 11.9 V}
  - {state: cranking, red: battery-positive-post, black: starter-b-stud, value: 2.3 V}
  - {state: cranking, red: battery-positive-post, black: isolator-in-stud, value: 0.05 V}
  - {state: cranking, red: isolator-in-stud, black: isolator-out-stud, value: 1.92 V}
"""


@pytest.fixture
def jobs(tmp_path):
    """A store with one job and one reading in it."""
    now = lambda: datetime(2026, 3, 2, 8, 0, tzinfo=UTC)  # noqa: E731
    with Store(tmp_path / "jobs.sqlite3") as store:
        session = Session.create(store, "test rig [b]", Complaint(circuit="front-battery"), now=now)
        session.record(ReadingTaken(state="cranking", red="chassis", black="engine-block", value=0.86))
    return session


def test_a_diagnosis_as_json_has_the_keys_of_the_contract(run, tmp_path):
    (tmp_path / "rig.yaml").write_text(JOB)
    done = run("diagnose", "rig.yaml", "--json")
    assert done.exit_code == 0
    found = json.loads(done.stdout)
    assert set(found) == {"circuit", "flow", "readings", "suspects", "repairs", "next", "finding", "warnings"}
    assert (found["circuit"], found["flow"]) == ("remote-battery", "no-crank-clicks")
    assert found["suspects"][0]["part"] == "isolator"
    assert found["finding"]["repair"] == found["repairs"][0]["repair"]
    assert sum(repair["probability"] for repair in found["repairs"]) == pytest.approx(1.0, abs=1e-6)
    over = found["readings"][3]
    assert (over["id"], over["judgement"], over["volts"]) == (4, "over", 1.92)
    assert over["expected_v"][0] < over["expected_v"][1] < over["volts"]


def test_the_help_of_the_demo_names_every_vehicle(run):
    told = run("demo", "--help").stdout
    names = [path.stem for path in SCENARIOS.glob("*.yaml") if "\nscenario:" in path.read_text()]
    assert names
    for name in names:
        assert name in told
    assert "Day boat that turns too slowly" in told


def test_a_diagnosis_for_a_person_says_the_same(run, tmp_path):
    (tmp_path / "rig.yaml").write_text(JOB)
    done = run("diagnose", "rig.yaml")
    found = json.loads(run("diagnose", "rig.yaml", "--json").stdout)
    words = " ".join(done.stdout.split())
    assert done.exit_code == 0
    assert "4. cranking, isolator in stud to isolator out stud: 1.92 V (OVER THE LIMIT, limit 0.10 V" in words
    assert "1. cranking, battery positive post to battery negative post: 11.90 V (enough, at least 9.58 V" in words
    assert found["finding"]["statement"] in words
    assert found["next"]["why"] in words
    assert "shown by reading 4" in words
    assert "the maker's service information" in words
    assert max(map(len, done.stdout.splitlines())) <= 80


@pytest.mark.parametrize("plan", ["walk", "fastest"])
@pytest.mark.parametrize("file", sorted(SCENARIOS.glob("*.yaml")), ids=lambda file: file.stem)
def test_every_shipped_scenario_and_job_is_diagnosed(run, file, plan):
    found = json.loads(run("diagnose", file, "--json", "--plan", plan).stdout)
    assert found["next"]["why"]
    assert run("diagnose", file, "--plan", plan).exit_code == 0


def test_a_scenario_is_diagnosed_by_its_complaint_alone(run):
    text = (SCENARIOS / "parcel-van.yaml").read_text()
    found = json.loads(run("diagnose", SCENARIOS / "parcel-van.yaml", "--json").stdout)
    assert "hidden:" in text
    assert found["readings"] == []
    assert found["finding"] is None


def test_check_names_the_kind_of_each_sound_file(run):
    files = [SCENARIOS / "parcel-van.yaml", shipped("flows") / "limits.yaml", shipped("flows") / "no-crank-clicks.yaml"]
    done = run("check", *files)
    assert done.exit_code == 0
    assert [line.rpartition(": ")[2] for line in done.stdout.splitlines()] == [
        "scenario, no errors",
        "limits, no errors",
        "flow, no errors",
    ]


def test_check_tells_every_error_of_every_file(run, tmp_path):
    (tmp_path / "a.yaml").write_text(JOB + "colour: red\n")
    (tmp_path / "b.yaml").write_text("job: x\ncircuit: front-battery\nair: warm\nreadings: 5\n")
    done = run("check", "a.yaml", "b.yaml", SCENARIOS / "parcel-van.yaml")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert [line.split(": ")[0] for line in done.stderr.splitlines()] == ["a.yaml:9:1", "b.yaml:3:1", "b.yaml:4:1"]


def test_a_drawn_map_follows_the_current_past_every_part(run):
    drawn = run("draw", "remote-battery").stdout
    order = ["battery-positive-post", "(isolator)", "motor-stud", "starter-case", "(body)", "battery-negative-post"]
    assert [drawn.index(name) for name in order] == sorted(drawn.index(name) for name in order)
    assert drawn.index("beside it, in parallel") < drawn.index("(thin-strap)") < drawn.index("control side")
    assert "long cable from the isolator to the bulkhead (long-cable), 4.2 m 50 mm2" in drawn


@pytest.mark.parametrize("name", ["front-battery", "remote-battery"])
def test_a_drawn_map_allows_what_readings_across_a_part_are_judged_by(run, name):
    drawn = run("draw", name).stdout
    at = desk(name)
    for view in assess(at, fold([]), cautions_read=True).spans:
        (line,) = [line for line in drawn.splitlines() if f" ({view.part})" in line]
        assert line.endswith(f", allowed {show_volts(view.limit_v)}")
        # Common practice, no source: a joint may lose next to nothing, and 0.05 V is the least that is judged.
        assert (at.circuit.parts[view.part].part.kind == "joint") is line.endswith("allowed 0.05 V")


def test_a_drawn_flow_has_every_step_and_where_it_leads(run):
    drawn = run("draw", shipped("flows") / "no-crank-clicks.yaml").stdout
    assert drawn == run("draw", "no-crank-clicks").stdout
    assert drawn.index("make-safe [caution]") < drawn.index("positive-drop [measure]") < drawn.index("prove [prove]")
    assert "  over -> split-positive" in drawn


def test_the_list_of_jobs(run, jobs):
    line = run("jobs").stdout
    assert f"{jobs.job_id}  " in line
    assert "test rig [b]" in line
    assert "front-battery" in line
    assert "chassis to engine-block: 0.86 V" in line
    (told,) = json.loads(run("jobs", "--json").stdout)
    assert (told["title"], told["readings"], told["last_reading"]["value"]) == ("test rig [b]", 1, 0.86)


def test_an_empty_list_of_jobs(run):
    assert "no jobs yet" in run("jobs").stdout
    assert json.loads(run("jobs", "--json").stdout) == []


def test_a_job_is_shown_where_it_stands(run, jobs):
    shown = run("jobs", "show", jobs.job_id).stdout
    assert shown.startswith("test rig [b]\n")
    assert "1. cranking, chassis to engine block: 0.86 V" in shown


def test_a_job_is_renamed_archived_and_brought_back(run, jobs):
    assert run("jobs", "rename", jobs.job_id, "grey van").exit_code == 0
    assert "grey van" in run("jobs").stdout
    run("jobs", "archive", jobs.job_id)
    assert "no jobs yet" in run("jobs").stdout
    assert "archived" in run("jobs", "--all").stdout
    run("jobs", "archive", jobs.job_id, "--undo")
    assert "grey van" in run("jobs").stdout


def test_a_job_goes_out_and_comes_back(run, jobs, tmp_path):
    assert run("jobs", "export", jobs.job_id, "out.json").exit_code == 0
    assert (tmp_path / "out.json").read_text() == run("jobs", "export", jobs.job_id).stdout
    assert run("check", "out.json").stdout == "out.json: record, no errors\n"
    assert "is job 2 now" in run("jobs", "import", "out.json").stdout
    assert run("jobs", "export", 2).stdout == run("jobs", "export", 1).stdout


REFUSED = [
    (["jobs", "show", 9], "there is no job 9"),
    (["jobs", "rename", 9, "x"], "there is no job 9"),
    (["jobs", "rename", 1, "a\x1b[2Jb"], r"U+001B"),
    (["jobs", "rename", 1, "x" * 400], "400 characters are too many; 300 are allowed"),
    (["jobs", "export", 9], "there is no job 9"),
    (["jobs", "export", 1, "taken.json"], "taken.json is there already"),
    (["jobs", "export", 1, "no/such/folder.json"], "can't be written"),
    (["jobs", "import", "taken.json"], "taken.json:1:1: the file is empty"),
    (["jobs", "import", "gone.json"], "gone.json:1:1: there is no such file"),
    (["jobs", "archive", "x"], "'x' is not a valid integer"),
    (["jobs", "--json", "show", 1], "leave them out before a subcommand"),
    (["demo", "moon-buggy"], "there is no demo 'moon-buggy'"),
    (["demo"], "the screens need a terminal"),
    ([], "the screens need a terminal"),
    (["draw", "nothing"], "there is no flow or map 'nothing'; write front-battery, remote-battery, no-crank-clicks"),
    (["draw", "gone.yaml"], "gone.yaml:1:1: there is no such file"),
    (["draw", SCENARIOS / "parcel-van.yaml"], "this is a scenario file; `draw` draws a flow or a circuit map"),
    (["diagnose", shipped("flows") / "limits.yaml"], "this is a limits file; `diagnose` reads a job or a scenario"),
    (["diagnose"], "Missing argument"),
    (["diagnose", "x.yaml", "--plan", "slowest"], "'slowest' is not one of"),
    (["completion", "cobol"], "'cobol' is not one of"),
    (["--store", "taken.json/x/jobs.sqlite3", "jobs"], "can't be used"),
    (["--store", ".", "jobs"], "is a directory"),
    (["solder"], "No such command 'solder'"),
]


@pytest.mark.parametrize(("words", "said"), REFUSED, ids=lambda value: str(value)[:40])
def test_what_cannot_be_done_is_said_on_stderr_alone(run, jobs, tmp_path, words, said):
    (tmp_path / "taken.json").write_text("")
    done = run(*words)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert said in done.stderr
    assert "\x1b" not in done.stderr
    assert (tmp_path / "taken.json").read_text() == ""
    assert len(jobs.store.path.read_bytes()) > 0


def every_command(group, words=()):
    yield words, group
    for name, command in getattr(group, "commands", {}).items():
        yield from every_command(command, (*words, name))


@pytest.mark.parametrize("words", [words for words, _ in every_command(cli)], ids=" ".join)
def test_every_command_has_help_with_an_example(run, words):
    done = run(*words, "--help")
    assert done.exit_code == 0
    assert "Example:\n    dropwalk" in done.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_a_script(run, shell):
    assert "_DROPWALK_COMPLETE" in run("completion", shell).stdout


def test_version(run):
    assert run("--version").stdout.startswith("dropwalk, version ")
