"""The lab's commands: set, seal, mark and explain, as a teacher types them, and what they refuse."""

from __future__ import annotations

import csv
import shlex
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.lab.shipped import NAMES, set_exercise
from tests.lab.students import Student, any_student, good_student
from wizard.files.yamltext import read_document
from wizard.lab import sealing
from wizard.lab.given import read_exercise
from wizard.lab.handin import write_handin
from wizard.lab.marking import Marker

PASSPHRASE = {"DROPWALK_PASSPHRASE": "seven brass lugs"}


def test_the_commands_are_told_in_whole_sentences(run):
    commands = run("lab", "--help").stdout.partition("Commands:")[2]
    assert "serve " in commands
    assert "..." not in commands


def test_every_shipped_exercise_is_listed_the_first_lesson_first(run):
    lines = run("lab", "list").stdout.splitlines()
    assert {line.split()[0] for line in lines} == set(NAMES)
    assert [line.split()[1] for line in lines[:2]] == ["first", "first"]


def test_a_new_exercise_is_written_checked_and_the_same_for_the_same_seed(run, tmp_path):
    for file in ("red.yaml", "black.yaml"):
        done = run("lab", "new", file, "--level", "easy", "--seed", 5)
        assert done.exit_code == 0, done.stderr
    red, black = ((tmp_path / f).read_text() for f in ("red.yaml", "black.yaml"))
    assert red.replace("exercise: red", "exercise: black").replace("Exercise red", "Exercise black") == black
    assert run("check", "red.yaml").stdout == "red.yaml: exercise, no errors\n"


def test_a_new_exercise_by_choice_hides_just_that_fault(run, tmp_path):
    run("lab", "new", "mine.yaml", "--part", "block-joint", "--excess", "25 mohm", "--title", "Mine", "--board")
    data = read_document(tmp_path / "mine.yaml").data
    assert data["hidden"] == [{"part": "block-joint", "excess": "25 mohm"}]
    assert (data["title"], data["board"]) == ("Mine", True)


@pytest.mark.parametrize(
    ("command", "message"),
    [
        (("new", "a.yaml", "--part", "tow-bar", "--excess", "3 mohm"), "no part 'tow-bar'"),
        (("new", "a.yaml", "--part", "block-joint"), "once for each --part"),
        (("new", "...yaml", "--seed", "5"), "no name"),
        (("new", "a.yaml", "--circuit", "sailing-ship"), "no circuit map 'sailing-ship'"),
        (("seal", "no-such", "--to", "b.yaml"), "no exercise 'no-such'"),
        (("mark", "nowhere", "--to", "m.csv"), "no folder nowhere"),
        (("mark", ".", "--to", "m.csv"), "no hand-in"),
        (("feedback", "nothing.json"), "no such file"),
        (("bench", "first-clamp"), "needs a terminal"),
        (("serve", "first-clamp", "--to", ".", "--host", "0.0.0.0"), "this machine's own"),
        (("serve", "first-clamp", "--to", "a-file/folder"), "can't be made: Not a directory"),
    ],
)
def test_what_can_not_be_done_is_said_with_exit_code_2(run, tmp_path, command, message):
    (tmp_path / "a-file").touch()
    done = run("lab", *command)
    assert done.exit_code == 2
    assert message in done.stderr
    assert done.stdout == ""


def test_a_port_that_is_taken_is_said_with_exit_code_2(run):
    pytest.importorskip("textual_serve", reason="the extra `lab` is not installed")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = run("lab", "serve", "first-clamp", "--to", ".", "--port", port)
    assert done.exit_code == 2
    assert f"127.0.0.1:{port} can't be served at: address already in use" in done.stderr


@pytest.mark.parametrize("module", ["aiohttp", "textual_serve"])
def test_serving_without_the_extra_says_what_to_install(run, tmp_path, monkeypatch, module):
    for name in [name for name in sys.modules if name.split(".")[0] == module or name == "wizard.ui.lab_serve"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, module, None)
    done = run("lab", "serve", "first-clamp", "--to", "x")
    assert done.exit_code == 2
    assert "serving needs the extra `lab`; in the clone run: .venv/bin/pip install '.[lab]'" in done.stderr
    assert not (tmp_path / "x").exists()
    # A name that is wrong is told first.
    done = run("lab", "serve", "no-such-exercise", "--to", "x")
    assert "no-such-exercise" in done.stderr
    assert done.exit_code == 2


# --- sealing -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("options", [(), ("--no-bench",)])
def test_a_sealed_exercise_tells_nothing_of_what_is_hidden(run, tmp_path, monkeypatch, options):
    monkeypatch.setenv(*next(iter(PASSPHRASE.items())))
    done = run("lab", "seal", "hidden-strap", "--to", "s.yaml", *options)
    assert done.exit_code == 0, done.stderr
    text = (tmp_path / "s.yaml").read_text()
    exercise, _ = set_exercise("hidden-strap")
    for secret in ("engine-strap", "10000000", "open-and-look", str(exercise.seed), "insulation"):
        assert secret not in text
    assert exercise.title in text
    assert run("check", "s.yaml").stdout == "s.yaml: sealed, no errors\n"


@pytest.fixture
def sealed() -> sealing.Sealed:
    exercise, _ = set_exercise("hidden-strap")
    return sealing.seal(exercise, "seven brass lugs", bytes, with_bench=True)


def test_only_the_passphrase_opens_the_answer(sealed):
    exercise, _ = set_exercise("hidden-strap")
    assert sealing.open_answer(sealed, "seven brass lugs") == exercise == sealing.open_bench(sealed)
    with pytest.raises(sealing.DropwalkError, match="does not open"):
        sealing.open_answer(sealed, "eight brass lugs")
    with pytest.raises(sealing.DropwalkError, match="without a bench"):
        sealing.open_bench(sealed.model_copy(update={"bench": None}))


@pytest.mark.parametrize(
    "change", [{"answer": "gAAAA"}, {"salt": "!"}, {"sheet": {"title": "Easier"}}, {"sealed": "x"}]
)
def test_a_changed_seal_is_refused(sealed, change):
    with pytest.raises(sealing.DropwalkError):
        sealing.open_answer(sealed.model_copy(update=change), "seven brass lugs")


def test_a_short_passphrase_is_refused(run, monkeypatch):
    monkeypatch.setenv("DROPWALK_PASSPHRASE", "short")
    done = run("lab", "seal", "first-clamp", "--to", "s.yaml")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "at least 8" in done.stderr


# --- marking -----------------------------------------------------------------------------------------------------


def test_a_class_is_marked_into_a_table_with_a_plot(run, tmp_path):
    exercise, desk = set_exercise("first-clamp")
    folder = tmp_path / "in"
    folder.mkdir()
    best = Marker(exercise, desk).best
    write_handin(good_student(exercise, desk, best).hand_in(), folder / "a.handin.json")
    write_handin(any_student(exercise, desk, 3, "B. Learner").hand_in(), folder / "b.handin.json")
    (folder / "c.handin.json").write_text("{}")
    done = run("lab", "mark", folder, "--to", "marks.csv", "--plot", "marks.svg")
    assert done.exit_code == 0
    assert "2 of 3 hand-ins are marked" in done.stdout
    assert "not marked: c.handin.json" in done.stderr
    rows = list(csv.DictReader((tmp_path / "marks.csv").open()))
    assert [row["file"] for row in rows] == ["a.handin.json", "b.handin.json", "c.handin.json"]
    assert float(rows[0]["total"]) >= 95 > float(rows[1]["total"])
    assert rows[2]["trouble"]
    assert (tmp_path / "marks.svg").read_text().startswith("<svg")
    # A table that is there already is kept, and that is said before anything is marked.
    again = run("lab", "mark", folder, "--to", "marks.csv")
    assert again.exit_code == 2
    assert "is there already" in again.stderr
    assert "not marked" not in again.stderr
    nowhere = run("lab", "mark", folder, "--to", "new.csv", "--plot", "nowhere/marks.svg")
    assert nowhere.exit_code == 2
    assert "there is no folder nowhere" in nowhere.stderr
    assert not (tmp_path / "new.csv").exists()
    told = run("lab", "feedback", folder / "b.handin.json")
    assert f"{float(rows[1]['total']):g} of 100 points" in told.stdout


def test_hand_ins_of_a_sealed_exercise_are_marked_with_the_passphrase(run, tmp_path, monkeypatch):
    monkeypatch.setenv(*next(iter(PASSPHRASE.items())))
    run("lab", "new", "own.yaml", "--part", "block-joint", "--excess", "25 mohm")
    (tmp_path / "sealed").mkdir()
    run("lab", "seal", "own.yaml", "--to", "sealed/own.yaml")
    # To be played it needs no passphrase.
    given = read_exercise(tmp_path / "sealed" / "own.yaml", lambda: pytest.fail("it was asked for"), to_play=True)
    assert given.sealed
    write_handin(Student(given.exercise, given.desk, seed=2).read_cautions().hand_in(), tmp_path / "x.handin.json")
    done = run("lab", "mark", ".", "--to", "m.csv", "--exercises", "sealed")
    assert "1 of 1 hand-ins are marked" in done.stdout, done.stderr
    # Nothing is written that says nothing.
    for options in ([], ["--exercises", "sealed"]):
        monkeypatch.setenv("DROPWALK_PASSPHRASE", "another one than that")
        done = run("lab", "mark", ".", "--to", "n.csv", *options)
        assert done.exit_code == 2
        assert ("does not open" if options else "give its folder") in done.stderr
        assert not (tmp_path / "n.csv").exists()


def test_a_served_bench_keeps_the_answer_back_unless_told(run, monkeypatch):
    """The process of each page is told so, and the bench that it runs heeds it."""
    lab_serve = pytest.importorskip("wizard.ui.lab_serve", reason="the extra `lab` is not installed")
    from wizard.ui import lab_bench

    served, shown = [], []

    class Kept:
        def __init__(self, command, **_):
            served.append(shlex.split(command)[3:])

        def serve(self):
            pass

    monkeypatch.setattr(lab_serve, "_BenchServer", Kept)
    monkeypatch.setattr(lab_bench, "run_bench", lambda *_, answers: shown.append(answers))
    monkeypatch.setenv("TEXTUAL_DRIVER", "any")
    for options in ([], ["--feedback"]):
        assert run("lab", "serve", "first-clamp", "--to", "in", *options).exit_code == 0
    for command in served:
        assert run(*command).exit_code == 0
    assert shown == [False, True]


def test_the_headless_lab_imports_no_screens():
    """Marking runs where there is no terminal: textual must not be loaded for it."""
    code = (
        "import sys\n"
        "from click.testing import CliRunner\n"
        "from wizard.cli import cli\n"
        "assert CliRunner().invoke(cli, ['lab', 'list']).exit_code == 0\n"
        "import wizard.lab.classroom, wizard.lab.feedback, wizard.lab.making, wizard.lab.sealing\n"
        "bad = [m for m in sys.modules if m.split('.')[0] in ('textual', 'textual_serve', 'aiohttp')]\n"
        "assert not bad, bad\n"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
