"""The commands as real processes: what they import, and how they end."""

import subprocess
import sys

import pytest

from wizard.files.places import shipped

JOB = str(shipped("scenarios") / "horse-box.yaml")
HEADLESS = [
    ["diagnose", JOB, "--json"],
    ["diagnose", JOB],
    ["check", JOB, str(shipped("scenarios") / "parcel-van.yaml"), str(shipped("flows") / "no-crank-clicks.yaml")],
    ["draw", "front-battery"],
    ["jobs"],
    ["completion", "bash"],
    ["--help"],
]
# Runs a command and then says on stderr which of these libraries it has loaded.
WITNESS = """
import sys
from wizard.cli import main
try:
    main()
finally:
    print("loaded:", *({"textual", "rich", "networkx", "numpy"} & set(sys.modules)), file=sys.stderr)
"""


def run(*words, tmp_path, **kwargs):
    environment = {"DROPWALK_STORE": str(tmp_path / "jobs.sqlite3"), "PATH": "/usr/bin:/bin"}
    return subprocess.run(
        [sys.executable, *words], env=environment, capture_output=True, text=True, check=False, timeout=60, **kwargs
    )


@pytest.mark.parametrize("words", HEADLESS, ids=lambda words: " ".join(words[:1]))
def test_no_command_without_screens_loads_their_library(tmp_path, words):
    done = run("-c", WITNESS, *words, tmp_path=tmp_path)
    assert done.returncode == 0, done.stderr
    loaded = done.stderr.rpartition("loaded:")[2].split()
    assert not {"textual", "rich"} & set(loaded)
    if words[0] in ("diagnose", "jobs", "--help"):
        assert "networkx" not in loaded
    if words[0] == "--help":
        assert loaded == []


def test_the_package_runs_as_a_module(tmp_path):
    done = run("-m", "wizard", "diagnose", JOB, tmp_path=tmp_path)
    assert done.returncode == 0
    assert done.stderr == ""
    assert done.stdout.startswith("horse box, first visit\n")


def test_wrong_input_ends_with_two_and_no_traceback(tmp_path):
    done = run("-m", "wizard", "diagnose", str(tmp_path / "gone.yaml"), tmp_path=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.endswith("gone.yaml:1:1: there is no such file; check the path\n")


def test_a_reader_that_goes_away_is_no_error():
    command = [sys.executable, "-m", "wizard", "draw", "remote-battery"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""


@pytest.mark.parametrize("encoding", ["ascii", "utf-8"])
def test_output_never_fails_on_a_narrow_terminal(tmp_path, encoding):
    file = tmp_path / "rig.yaml"
    file.write_text("job: 'crème ☃ 車'\ncircuit: front-battery\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "wizard", "diagnose", str(file)],
        env={"PYTHONIOENCODING": encoding, "COLUMNS": "40", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
