"""What README.md and DEVELOPERS.md promise, held against what is there."""

import json
import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from wizard.cli import cli
from wizard.ui.job import JobScreen
from wizard.ui.repairing import Repairing

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}
JOB = re.findall(r"^```yaml\n(job: .*?)^```$", README, re.DOTALL | re.MULTILINE)[0]


def indented(text: str) -> list[str]:
    """Lines of the blocks that show what to type or what is printed."""
    return [line[4:] for line in text.splitlines() if line.startswith("    ")]


def commands(text: str) -> list[list[str]]:
    """Every `dropwalk ...` that a document shows, as words, without the shell's part of the line."""
    shown = [line for line in indented(text) if line.startswith("dropwalk")]
    shown += [code for code in re.findall(r"`([^`\n]+)`", text) if code.startswith("dropwalk ")]
    return [shlex.split(re.split(r"\s(?:>>?|\|)\s", line)[0], comments=True)[1:] for line in shown]


def unknown_in(words: list[str]) -> list[str]:
    """Options and subcommands among these words that `dropwalk` does not have."""
    at: click.Command = cli
    unknown = []
    waiting = list(words)
    while waiting:
        word = waiting.pop(0)
        if word == "--help":
            continue
        if word.startswith("-"):
            option = next((o for o in at.params if word in o.opts), None)
            if option is None:
                unknown.append(word)
            elif not getattr(option, "is_flag", False) and waiting:
                waiting.pop(0)
        elif isinstance(at, click.Group) and (found := at.get_command(click.Context(at), word)):
            at = found
        elif not any(isinstance(parameter, click.Argument) for parameter in at.params):
            unknown.append(word)
    return unknown


@pytest.mark.parametrize("words", [["jobs", "burn"], ["--shop", "x"], ["diagnose", "x.yaml", "--quickly"]])
def test_a_command_that_is_not_there_would_be_noticed(words):
    assert unknown_in(words)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_command_in_the_documents_is_there(name):
    shown = commands(DOCUMENTS[name])
    assert len(shown) >= 3
    assert {" ".join(words): missing for words in shown if (missing := unknown_in(words))} == {}


def test_the_readme_shows_every_command():
    shown = {words[0] for words in commands(README) if words}
    assert sorted(set(cli.commands) - shown) == []


def test_every_option_named_in_the_readme_is_there():
    def options(command: click.Command) -> set[str]:
        own = {name for parameter in command.params for name in parameter.opts} | {"--help"}
        return (
            own.union(*(options(sub) for sub in command.commands.values())) if isinstance(command, click.Group) else own
        )

    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", " ".join(re.findall(r"`([^`\n]+)`", README))))
    assert named
    assert named - options(cli) == set()


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_somewhere(name):
    text = DOCUMENTS[name]
    headings = {
        re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")
        for heading in re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    }
    links = re.findall(r"\]\(([^)\s]+)\)", text)
    assert links
    for link in links:
        assert link.removeprefix("#") in headings if link.startswith("#") else (ROOT / link).is_file(), link


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_and_folders_named_are_there(name):
    named = re.findall(
        r"(?:^|[\s`(])((?:wizard|flows|scenarios|tests)/[\w./-]*\w|\.ci/run)", DOCUMENTS[name], re.MULTILINE
    )
    assert len(named) >= 3
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_benchmarks_named_in_the_guide_can_be_run():
    named = set(re.findall(r"tests[./]benchmarks[./](\w+)", DEVELOPERS))
    runnable = {
        path.stem
        for path in (ROOT / "tests/benchmarks").glob("*.py")
        if '__name__ == "__main__"' in path.read_text(encoding="utf-8")
    }
    assert named
    assert named - runnable == set()


def test_modules_and_names_in_the_guide_are_there():
    """`limits.judge` in a row of the guide's table is a name in that row's module."""
    rows = re.findall(r"^\| [^|]+ \| `(wizard/[\w/]+\.py)` \| ([^|]*) \|$", DEVELOPERS, re.MULTILINE)
    assert len(rows) >= 12
    missing = []
    for path, names in rows:
        source = (ROOT / path).read_text(encoding="utf-8")
        for name in re.findall(r"`([A-Za-z_]+)`", names):
            if not re.search(rf"^\s*(?:(?:async )?def|class) {name}\b|^{name}\b", source, re.MULTILINE):
                missing.append(f"{path}: {name}")
    assert missing == []


def test_shipped_names_in_the_readme_are_there():
    maps = set(re.findall(r"`([a-z]+-battery)`", README))
    assert maps == {path.stem for path in (ROOT / "flows/circuits").glob("*.yaml")}


def test_the_keys_in_the_readme_work_on_the_job_screen():
    table = re.findall(r"^\| `(.)` \| ", README, re.MULTILINE)
    bindings = [*JobScreen.BINDINGS, *Repairing.BINDINGS]
    bound = {key for binding in bindings for key in binding.key.split(",")}
    assert len(table) >= 10
    assert {"?": "question_mark"}.get(table[-1]) in bound
    assert set(table[:-1]) - bound == set()


def test_the_picture_fits_a_small_terminal():
    picture = re.findall(r"^```text\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)[0].splitlines()
    assert len(picture) <= 24
    assert max(map(len, picture)) <= 80


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def call(*words):
        return CliRunner().invoke(cli, words, prog_name="dropwalk", catch_exceptions=False)

    return call


def test_the_job_file_in_the_readme_is_sound(run, tmp_path):
    (tmp_path / "job.yaml").write_text(JOB, encoding="utf-8")
    done = run("check", "job.yaml")
    assert done.exit_code == 0, done.stderr
    found = json.loads(run("diagnose", "job.yaml", "--json").stdout)
    assert found["next"]["kind"] == "finish"
    assert found["finding"]["repair"] == "clean-b-stud-joint"


def test_the_readme_quotes_what_diagnose_says_of_its_job(run, tmp_path):
    """The finding of the example, up to its repair, is quoted word for word."""
    before = "".join(line for line in JOB.split("  - {repaired:")[0].splitlines(keepends=True))
    (tmp_path / "job.yaml").write_text(before, encoding="utf-8")
    found = json.loads(run("diagnose", "job.yaml", "--json").stdout)
    assert found["finding"]["statement"] in " ".join(" ".join(indented(README)).split())
