"""Whatever is fed to a command: a message with its place, exit code 2, nothing on stdout, nothing done."""

import pytest

from wizard.files.places import shipped

JOB = "job: x\ncircuit: front-battery\n"
SPAN = JOB + "readings:\n  - {state: resting, red: chassis, black: engine-block, value: "
FLOW = (shipped("flows") / "no-crank-clicks.yaml").read_text()
MAP = (shipped("flows") / "circuits" / "front-battery.yaml").read_text()

# name: (file's content, where the first problem stands, words of the message)
BAD = {
    "empty": ("", "1:1", "the file is empty"),
    "binary": (bytes(range(256)) * 8, "2:118", "not UTF-8 text"),
    "zip": (b"PK\x03\x04" + b"\0" * 60, "1:3", "U+0003 is not allowed"),
    "fifty megabytes": (b"a: " + b"x" * 50_000_000, "1:1", "the file is larger than"),
    "no telling key": ("colour: red\n", "1:1", "what this file is can't be told"),
    "not YAML": (JOB + "readings: [\n", "4:1", "not YAML"),
    "alias bomb": (
        "a: &a [x, x, x]\n"
        + "".join(f"{n}: &{n} [*{p}, *{p}, *{p}]\n" for p, n in zip("abcdefghi", "bcdefghij", strict=True)),
        "1:4",
        "anchors and aliases are not read",
    ),
    "code": (JOB + "air: !!python/object/apply:os.system ['touch done']\n", "3:6", "tags are not read"),
    "deep": (JOB + "answers: " + "{a: " * 50_000, "3:", "nested more than 40 deep"),
    "repeated key": (JOB + "job: y\n", "3:1", "stands here twice"),
    "NUL": (JOB + "air: 1\0 C\n", "3:7", "U+0000"),
    "huge whole number": (JOB + "air: " + "9" * 5000 + "\n", "3:6", "too long"),
    "large whole number": (JOB + "air: 99999999999999999999999999\n", "3:1", "no air temperature"),
    "nan": (SPAN + ".nan}\n", "4:64", "write a number"),
    "infinite": (SPAN + "1e999}\n", "4:64", "too large"),
    "inf in text": (SPAN + "inf V}\n", "4:57", "'inf V'"),
    "unknown key": (JOB + "colour: red\n", "3:1", "there is no key 'colour' here; allowed:"),
    "wrong unit": (
        SPAN + "1 kg}\n",
        "4:57",
        "the unit 'kg'",
    ),
    "no such point": (
        SPAN.replace("chassis", "moon") + "1 V}\n",
        "4:22",
        "no point 'moon'",
    ),
    "terminal escapes": (JOB + 'symptom: "\\e[31m\\e]0;title\\a"\n', "3:1", "\\x1b[31m\\x1b]0;title\\x07"),
    "escape in the title": ('job: "a\\e[2J"\ncircuit: front-battery\n', "1:1", "the character U+001B is not allowed"),
    "markup": (JOB + "symptom: '[red]x[/red] <b> `id` $(id)'\n", "3:1", "'[red]x[/red] <b> `id` $(id)'"),
    "a path for a map": ("job: x\ncircuit: ../../../etc/passwd\n", "2:1", "there is no circuit map"),
    "a command for a map": ("job: x\ncircuit: '$(touch done).yaml'\n", "2:1", "there is no circuit map"),
    "a flow with a dead end": (FLOW.replace("{done: prove}", "{done: recommend}"), "", "recommend"),
    "a map without a path": (
        MAP.replace("[positive-clamp-body, starter-lug]", "[positive-clamp-body, chassis]"),
        "",
        "no path of positive parts leads from",
    ),
}


# Every command that reads the file; the last two are no jobs.
READ_BY = [
    (command, name)
    for name in BAD
    for command in ("check", "diagnose", "diagnose --json")
    if command == "check" or not name.startswith(("a flow", "a map"))
]


@pytest.mark.parametrize(("command", "name"), READ_BY)
def test_a_bad_file_is_refused_with_its_place(run, tmp_path, command, name):
    content, place, words = BAD[name]
    file = tmp_path / "bad.yaml"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    done = run(*command.split(), "bad.yaml")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"bad.yaml:{place}")
    assert words in done.stderr
    assert not set(done.stderr) & {"\x1b", "\x07", "\0"}
    assert "Traceback" not in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.yaml"]


@pytest.mark.parametrize("command", [("check",), ("diagnose",), ("draw",), ("jobs", "import")], ids=" ".join)
@pytest.mark.parametrize(
    ("file", "words"),
    [("gone.yaml", "there is no such file"), ("folder.yaml", "this is a folder"), ("a\x1b[2J.yaml", "no such file")],
)
def test_a_file_that_is_not_there_is_refused(run, tmp_path, command, file, words):
    (tmp_path / "folder.yaml").mkdir()
    done = run(*command, file)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert words in done.stderr
    assert ":1:1: " in done.stderr
    assert "\x1b" not in done.stderr
