"""YAML text as data: what is read, what is refused, and that nothing else ever happens."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wizard.errors import BadFile
from wizard.files.yamltext import MOST_PROBLEMS, parse_document, read_document

# The core schema of YAML 1.2.2, chapter 10.3.2, by its table of regular expressions; and what it leaves as text.
SCALARS = [
    ("null", None),
    ("~", None),
    ("", None),
    ("true", True),
    ("FALSE", False),
    ("12", 12),
    ("-19", -19),
    ("012", 12),
    ("0o14", 12),
    ("0xC", 12),
    ("1e3", 1000.0),
    ("-.5", -0.5),
    ("12.", 12.0),
    ("yes", "yes"),
    ("no", "no"),
    ("1_000", "1_000"),
    ("12:30:45", "12:30:45"),
    ("2026-01-02", "2026-01-02"),
    ("=", "="),
    ("0.7 V", "0.7 V"),
    ('"12"', "12"),
    ("'null'", "null"),
]


@pytest.mark.parametrize(("written", "value"), SCALARS)
def test_plain_values_follow_the_core_schema(written, value):
    read = parse_document(f"a: {written}\n", "f").data["a"]
    assert read == value
    assert type(read) is type(value)


def test_every_value_knows_its_place():
    document = parse_document("job: x\nreadings:\n  - {red: a, black: b}\n  - 5\n", "f.yaml")
    assert document.places[("readings", 0, "black")] == (3, 14)
    assert document.places[("readings", 1)] == (4, 5)


@pytest.mark.parametrize(
    ("path", "place"),
    [
        (("readings", 0, "reading", "red"), (3, 6)),
        (("readings", 0, "gone"), (3, 5)),
        (("out-of-reach",), (4, 1)),
        (("nowhere", "at", "all"), (1, 1)),
    ],
)
def test_a_problem_stands_at_the_nearest_place(path, place):
    document = parse_document("job: x\nreadings:\n  - {red: a}\nout_of_reach: []\n", "f.yaml")
    problem = document.problem(path, "wrong")
    assert (problem.line, problem.column) == place


# name: (text, line, column, words of the message)
REFUSED = {
    "empty": ("", 1, 1, "empty"),
    "only a comment": ("# nothing\n", 1, 1, "empty"),
    "a list": ("- a\n- b\n", 1, 1, "mapping"),
    "plain text": ("just words\n", 1, 1, "mapping"),
    "not YAML": ("a: [1, 2\nb: 3\n", 2, 2, "not YAML"),
    "tab indent": ("a:\n\tb: 1\n", 2, 1, "not YAML"),
    "repeated key": ("a: 1\nb: 2\na: 3\n", 3, 1, "twice"),
    "alias": ("a: &x [1]\nb: *x\n", 1, 4, "anchors"),
    "merge": ("a: &x {b: 1}\nc:\n  <<: *x\n", 1, 4, "anchors"),
    "alias bomb": (
        "a: &a [x, x]\n"
        + "".join(f"{n}: &{n} [*{p}, *{p}, *{p}]\n" for p, n in zip("abcdefgh", "bcdefghi", strict=True)),
        1,
        4,
        "anchors",
    ),
    "python object": ("a: !!python/object/apply:os.system ['true']\n", 1, 4, "tags"),
    "own tag": ("a: 1\nb: !include other.yaml\n", 2, 4, "tags"),
    "complex key": ("a: 1\n? [b, c]\n: 2\n", 2, 3, "plain text"),
    "two documents": ("a: 1\n---\nb: 2\n", 2, 1, "second document"),
    "NUL": ("a: 1\nb: x\0y\n", 2, 5, "U+0000"),
    "raw escape": ("a: 1\nb: \x1b[31mred\n", 2, 4, "U+001B"),
    "huge whole number": ("a: 1\nb: " + "9" * 5000 + "\n", 2, 4, "too long"),
    "huge power": ("a: 1e999\n", 1, 4, "too large"),
    "nan": ("a: 1\nb: .nan\n", 2, 4, "write a number"),
    "infinity": ("a: -.inf\n", 1, 4, "write a number"),
    "deep flow": ("a: " + "[" * 100_000, 1, 44, "deep"),
    "deep mappings": ("{a: " * 100_000, 1, 165, "deep"),
    "deep complex keys": ("? " * 100_000, 1, 3, "plain text"),
    "deep blocks": ("\n".join(" " * n + "a:" for n in range(500)), 42, 42, "deep"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_these_files_never_need_is_refused_with_its_place(name):
    text, line, column, words = REFUSED[name]
    with pytest.raises(BadFile) as caught:
        parse_document(text, "f.yaml")
    first = caught.value.problems[0]
    assert (first.file, first.line, first.column) == ("f.yaml", line, column)
    assert words in first.message


def test_problems_are_counted_up_to_a_limit():
    with pytest.raises(BadFile) as caught:
        parse_document("a: [" + "!x y, " * 500 + "]", "f")
    assert len(caught.value.problems) == MOST_PROBLEMS


@pytest.mark.parametrize(
    ("content", "words", "place"),
    [
        (b"a: " + b"x" * 2_100_000, "larger than 2 MB", (1, 1)),
        (b"a: 1\nb: \xff\xfe\n", "UTF-8", (2, 4)),
        (b"\x7fELF\x02\x01\x01\x00", "U+007F", (1, 1)),
        (b"PK\x03\x04\x9c\xff", "UTF-8", (1, 5)),
    ],
)
def test_a_file_that_is_no_text_is_refused(tmp_path, content, words, place):
    file = tmp_path / "f.yaml"
    file.write_bytes(content)
    with pytest.raises(BadFile) as caught:
        read_document(file)
    problem = caught.value.problems[0]
    assert words in problem.message
    assert (problem.line, problem.column) == place


def test_a_byte_order_mark_is_passed_over(tmp_path):
    file = tmp_path / "f.yaml"
    file.write_bytes(b"\xef\xbb\xbfa: 1\n")
    assert read_document(file).data == {"a": 1}


@pytest.mark.parametrize(
    ("name", "words"),
    [("gone.yaml", "no such file"), (".", "folder"), ("a\0b", "can't be read"), ("x" * 5000, "can't be read")],
)
def test_a_path_that_leads_nowhere_is_refused(tmp_path, name, words):
    with pytest.raises(BadFile, match=words):
        read_document(tmp_path / name)


def test_an_error_never_carries_an_escape_from_the_file():
    with pytest.raises(BadFile) as caught:
        parse_document('"a\\e[2J": !x 1\n', "f\x1b[2J.yaml")
    assert "\x1b" not in str(caught.value)


# Characters that JSON and YAML both take as they are; the rest is refused in text anyway.
JSON_TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029\ufeff\ufffe\uffff"))
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**15), 10**15) | JSON_TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(JSON_TEXT, inner, max_size=4),
    max_leaves=15,
)


@given(st.dictionaries(JSON_TEXT.filter(lambda key: len(key) < 200), JSON_VALUES, max_size=4))
def test_json_is_read_as_itself(data):
    for text in (json.dumps(data, ensure_ascii=False), json.dumps(data, ensure_ascii=False, indent=1)):
        assert parse_document(text, "f").data == data


def outcome(read, *args):
    """What was read, or why it was refused."""
    try:
        return read(*args).data
    except BadFile as error:
        return error.problems


def is_sound(result):
    """Either data, or at least one problem, each with a place."""
    return isinstance(result, dict) or (bool(result) and all(p.line >= 1 and p.column >= 1 for p in result))


@given(st.text() | st.text("[]{}:,-?&*!|>'\"%@ \n\tab10.~", max_size=60))
def test_any_text_is_data_or_a_bad_file(text):
    assert is_sound(outcome(parse_document, text, "f"))


@given(st.binary(max_size=400))
def test_any_bytes_are_data_or_a_bad_file(tmp_path_factory, content):
    file = tmp_path_factory.getbasetemp() / "any.yaml"
    file.write_bytes(content)
    assert is_sound(outcome(read_document, file))
