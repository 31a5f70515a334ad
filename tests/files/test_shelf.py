"""Files as models: every problem named, with its place and in plain words; names lead only where they may."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wizard.circuit.map import CircuitMap
from wizard.errors import BadFile, DropwalkError
from wizard.files import shelf
from wizard.files.places import locate, shipped
from wizard.files.plainwords import checked
from wizard.files.yamltext import parse_document, read_document
from wizard.lab.scenario import Scenario
from wizard.record.transfer import JobRecord
from wizard.walk.events import Complaint
from wizard.walk.flow import Flow
from wizard.walk.jobfile import JobFile

JOB = """\
job: test rig
circuit: front-battery
readings:
  - {state: cranking, red: battery-positive-post, black: starter-b-stud, value: 0.86 V}
"""


def read(text, model, base=Path("/")):
    """A text as a model, or the problems in it."""
    try:
        document = parse_document(text, "f.yaml")
        return shelf.fitted(document, model, base) if issubclass(model, Complaint) else checked(document, model)
    except BadFile as error:
        return error.problems


def problems(text, model=JobFile, base=Path("/")):
    """Problems of a text as `line:column field: message`."""
    return [f"{p.line}:{p.column} {p.field}: {p.message}" for p in read(text, model, base)]


def test_a_job_comes_with_its_desk():
    job, desk = shelf.fitted(parse_document(JOB, "f"), JobFile, Path("/"))
    assert job.readings[0].value == 0.86
    assert desk.circuit.map.circuit == "front-battery"
    assert desk.flow.flow == "no-crank-clicks"


# A line added to the job above, and what is said of it.
BAD_LINES = [
    ("colour: red", "5:1", "colour", "there is no key 'colour' here; allowed: circuit, changes,"),
    ("symptm: no-click", "5:1", "symptm", "there is no key 'symptm' here; did you mean 'symptom'?"),
    (
        "symptom: one-clik",
        "5:1",
        "symptom",
        "there is no choice 'one-clik' here; did you mean 'one-click'? allowed: cranks-normally",
    ),
    ("air: 15 V", "5:1", "air", "'15 V' is not a temperature; write it as 20 C or 68 F"),
    ("air: 900 C", "5:1", "air", "900 C is no air temperature"),
    ("intermittent: perhaps", "5:1", "intermittent", "write true or false here; found perhaps"),
    ("history: [battery]", "5:1", "history", "write keys and values here; found a list"),
    ("history: {recently-replaced: battery}", "5:11", "history.recently-replaced", "write a list here; found battery"),
    ("history: {recently_replaced: [dynamo]}", "5:31", "history.recently-replaced.0", "the map has no part 'dynamo'"),
    (
        "history: {woke-up-when-touched: bonnet}",
        "5:11",
        "history.woke-up-when-touched",
        "the map 'front-battery' has no point",
    ),
    ("out-of-reach: [bonnet]", "5:16", "out-of-reach.0", "the map 'front-battery' has no point 'bonnet'"),
    (
        "changes: {parts: {positive-cable: {length: 3 V}}}",
        "5:36",
        "changes.parts.positive-cable.length",
        "the unit 'V' does not fit here",
    ),
    (
        "changes: {parts: {positive-cable: {size: 25}}}",
        "5:36",
        "changes.parts.positive-cable.size",
        "25 has no unit; write it as 4 AWG or 25 mm2",
    ),
    (
        "changes: {parts: {positive-cabel: {length: 1 m}}}",
        "5:19",
        "changes.parts.positive-cabel",
        "the map has no part",
    ),
    (
        "changes: {parts: {positive-cable: {length: 1300 m}}}",
        "5:36",
        "changes.parts.positive-cable.length",
        "1300 m is not possible here; 0.001 to 500 m are read",
    ),
    ("changes: {cca_a: 1e-300}", "5:11", "changes.cca_a", "1e-300 A is not possible here; 0.01 to 20000 A are read"),
    (
        "changes: {parts: {positive-cable: {length: -1 m}}}",
        "5:36",
        "changes.parts.positive-cable.length",
        "must be above zero",
    ),
    ("answers: {any-click: maybe}", "5:11", "answers.any-click", "there is no choice 'maybe'; allowed:"),
    ("answers: {nowhere: maybe}", "5:11", "answers.nowhere", "the flow 'no-crank-clicks' has no step 'nowhere'"),
    ("flow: cold-start", "5:1", "flow", "there is no flow 'cold-start'; allowed: no-crank-clicks"),
    ("flow: ../../x", "5:1", "flow", "'../../x' is not an id"),
]


@pytest.mark.parametrize(("line", "place", "field", "words"), BAD_LINES)
def test_a_bad_line_is_named_with_what_is_allowed(line, place, field, words):
    (found,) = problems(JOB + line + "\n")
    assert found.startswith(f"{place} {field}: {words}")


# The same for a reading added to it.
BAD_READINGS = [
    (
        "{state: restin, red: chassis, black: engine-block, value: 1 V}",
        "5:6",
        "readings.1.state",
        "there is no choice 'restin'",
    ),
    (
        "{state: cranking, red: chasis, black: engine-block, value: 1 V}",
        "5:23",
        "readings.1.red",
        "the map 'front-battery' has no point 'chasis'",
    ),
    (
        "{state: cranking, red: chassis, black: chassis, value: 1 V}",
        "5:37",
        "readings.1.black",
        "red and black are on the same point",
    ),
    ("{state: cranking, red: chassis, value: 1 V}", "5:5", "readings.1", "a reading needs red and black, or clamp"),
    ("{state: cranking, red: chassis, black: engine-block}", "5:5", "readings.1.value", "the key 'value' is missing"),
    (
        "{state: cranking, red: chassis, black: engine-block, value: 1 A}",
        "5:58",
        "readings.1.value",
        "the unit 'A' does not fit here; use one of V",
    ),
    (
        "{state: cranking, red: chassis, black: engine-block, value: [1]}",
        "5:58",
        "readings.1.value",
        "write a number here; found a list",
    ),
    (
        "{state: cranking, red: chassis, black: engine-block, value: 700}",
        "5:58",
        "readings.1.value",
        "700 V is not possible here",
    ),
    (
        "{state: cranking, red: chassis, black: engine-block, value: 0.1-700 V}",
        "5:58",
        "readings.1.value",
        "700 V is not possible here",
    ),
    (
        "{state: cranking, red: chassis, black: engine-block, value: -0.1 to 0.2 V}",
        "5:58",
        "readings.1.value",
        "the two ends of a range must be alike",
    ),
    (
        "{state: cranking, red: chassis, black: engine-block, value: 0.1~0.2 V}",
        "5:58",
        "readings.1.value",
        "'0.1~0.2 V' is not a value with a unit; use one of V, mV, uV, µV, kV, volt. Two values are a range: write it",
    ),
    (
        "{state: cranking, red: chassis, black: engine-block, value: 0.1-0.2 V, maximum: 0.3 V}",
        "5:58",
        "readings.1.value",
        "a range says minimum and maximum itself",
    ),
    (
        "{state: cranking, clamp: positive-cable, value: 160-165 V}",
        "5:46",
        "readings.1.value",
        "the unit 'V' does not fit here; use one of A",
    ),
    (
        "{state: cranking, clamp: positive-cable, value: 165 V}",
        "5:46",
        "readings.1.value",
        "the unit 'V' does not fit here; use one of A",
    ),
    (
        "{state: cranking, clamp: positive-cable, value: open}",
        "5:46",
        "readings.1.value",
        "a clamp meter reads amps, not open",
    ),
    (
        "{state: resting, red: battery-positive-post, black: battery-negative-post, value: open}",
        "5:80",
        "readings.1.value",
        "a battery is read in volts, not open",
    ),
    ("{state: cranking, clamp: tow-bar, value: 165 A}", "5:23", "readings.1.clamp", "the map has no part 'tow-bar'"),
    ("{repaired: polish-it}", "5:6", "readings.1.repaired", "the map has no repair 'polish-it'"),
    (
        "{repaired: clean-block-joint, when: now}",
        "5:35",
        "readings.1.when",
        "there is no key 'when' here; allowed: repaired",
    ),
    ("0.86 V", "5:5", "readings.1", "write keys and values here; found 0.86 V"),
]


def test_starts_of_a_day_before_the_repair_above_them_are_refused():
    starts = "{good: true, engine: cold, times: 3, day: 2026-11-24"
    repaired = JOB + "  - {repaired: clean-block-joint, day: 2026-11-25}\n  - "
    (found,) = problems(f"{repaired}{starts}}}\n")
    assert "readings.2.day: 2026-11-24 is before the repair above it, of 2026-11-25: put it above that one" in found
    told = parse_document(f"{repaired}{starts}, before-repair: true}}\n", "f")
    assert shelf.fitted(told, JobFile, Path("/"))


@pytest.mark.parametrize(("reading", "place", "field", "words"), BAD_READINGS)
def test_a_bad_reading_is_named_with_what_is_allowed(reading, place, field, words):
    (found,) = problems(JOB + f"  - {reading}\n")
    assert found.startswith(f"{place} {field}: {words}")


@pytest.mark.parametrize(
    ("value", "ends"),
    [
        ("0.82-0.90 V", (0.82, 0.9)),
        ("0.9 to 0.82 V", (0.82, 0.9)),
        ("820..900 mV", (0.82, 0.9)),
        ("0.82 V to 900 mV", (0.82, 0.9)),
        ("-0.9 to -0.82", (-0.9, -0.82)),
        ("0.86, minimum: 0.82 V, maximum: 0.9", (0.82, 0.9)),
        ("86e-2 V", (None, None)),
    ],
)
def test_a_file_takes_the_range_of_several_cranks_as_the_screens_do(value, ends):
    job = read(JOB.replace("0.86 V", value), JobFile)[0]
    reading = job.readings[0]
    assert (reading.minimum, reading.maximum) == pytest.approx(ends)
    assert abs(reading.value) == pytest.approx(0.86)
    (_, taken) = job.events()
    assert taken == reading


def test_amps_around_a_clamp_may_be_a_range_and_o_is_open():
    job = read(JOB.replace("0.86 V", "o") + "  - {state: cranking, clamp: positive-cable, value: 160-170}\n", JobFile)[
        0
    ]
    assert job.readings[0].value == "open"
    assert (job.readings[1].minimum, job.readings[1].value, job.readings[1].maximum) == (160, 165, 170)


@pytest.mark.parametrize("written", ["cca: 680 A", "cca_a: 680 A", "cca: 680"])
def test_cold_cranking_amps_are_read_with_their_unit_and_by_their_short_name(written):
    job = read(f"{JOB}changes: {{{written}}}\n", JobFile)[0]
    assert job.complaint().changes.cca_a == 680


def test_everything_wrong_is_told_at_once():
    found = problems(
        "job: x\ncircuit: front-battery\nair: warm\nwhatever: 1\nhistory: {recently-replaced: [dynamo]}\nreadings:\n"
        "  - {state: cranking, red: chassis, black: engine-block, value: 1 A}\n"
        "  - {state: cranking, red: chasis, black: engine-block, value: 1 V}\n"
        "  - {state: cranking, red: chassis, black: engine-blok, value: 1 V}\n"
    )
    assert [text.split(" ")[0] for text in found] == ["3:1", "4:1", "5:31", "7:58", "8:23", "9:37"]


def test_text_from_a_file_never_reaches_the_terminal_raw():
    found = problems(JOB + 'symptom: "\\e[2J[bold]x[/bold]"\n"\\e]0;t\\a": 1\n')
    assert not any("\x1b" in text or "\x07" in text for text in found)
    assert any("[bold]x[/bold]" in text for text in found)


MAP = (shipped("flows") / "circuits" / "front-battery.yaml").read_text()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "between: [chassis, negative-clamp-body]",
            "between: [chassis, moon]",
            "there is no point 'moon' under points",
        ),
        ("repair: replace-chassis-cable", "repair: polish", "there is no repair 'polish' under repairs"),
        ("kind: strap", "kind: rope", "there is no choice 'rope' here; allowed: cable, strap"),
        ("length_m: 0.3, ", "", "a strap needs length_m and size, or resistance_mohm"),
        ("system_v: 12", "system_v: 13", "there is no choice '13' here; allowed: 6, 12, 24"),
        ("contacts: solenoid-contacts", "contacts: tow-bar", "there is no part 'tow-bar' under parts"),
        ("cranking_a: [110, 150, 220]", "cranking_a: [110, 150]", "item 3 of this list is missing"),
        ("cranking_a: [110, 150, 220]", "cranking_a: [220, 150, 110]", "rising order"),
        (
            "between: [positive-clamp-body, starter-lug]",
            "between: [positive-clamp-body, chassis]",
            "no path of positive parts leads from 'battery-positive-post' to 'starter-b-stud'",
        ),
    ],
)
def test_a_map_with_a_mistake_is_refused(old, new, said):
    assert old in MAP
    found = problems(MAP.replace(old, new), CircuitMap)
    assert any(said in text for text in found), found
    assert not found[0].startswith("1:1 ")


def test_a_dead_end_in_a_flow_is_named():
    text = (shipped("flows") / "no-crank-clicks.yaml").read_text()
    document = parse_document(text.replace("{done: prove}", "{done: recommend}"), "f.yaml")
    with pytest.raises(BadFile, match="recommend") as caught:
        shelf.read_flow(document)
    assert all(problem.line > 1 for problem in caught.value.problems)


@pytest.mark.parametrize("name", ["cautions", "limit"])
def test_a_flow_names_only_cautions_and_limits_that_are_there(name):
    text = (shipped("flows") / "no-crank-clicks.yaml").read_text()
    document = parse_document(text, "f.yaml")
    step = next(step for step, value in document.data["steps"].items() if name in value)
    document.data["steps"][step][name] = ["no-such"] if name == "cautions" else "no-such"
    with pytest.raises(BadFile, match="no-such"):
        shelf.read_flow(document)


@pytest.mark.parametrize("folder", ["flows", "flows/circuits", "scenarios"])
def test_shipped_files_are_sound(folder):
    top, _, below = folder.partition("/")
    files = sorted((shipped(top) / below).glob("*.yaml"))
    assert files
    for file in files:
        document = read_document(file)
        match kind := shelf.kind_of(document):
            case shelf.Kind.JOB:
                shelf.fitted(document, JobFile, file.parent)
            case shelf.Kind.SCENARIO:
                shelf.fitted(document, Scenario, file.parent)
            case _:
                shelf.check_table(document, kind)


@pytest.mark.parametrize("keys", ["colour: red", "readings: []"])
def test_a_file_without_a_telling_key_is_refused(keys):
    with pytest.raises(BadFile, match="job, scenario, handin, sealed, exercise, record, limits"):
        shelf.kind_of(parse_document(keys, "f"))


def test_a_job_that_names_its_circuit_first_is_still_a_job():
    assert shelf.kind_of(parse_document("circuit: x\nflow: y\njob: z\n", "f")) is shelf.Kind.JOB


@pytest.mark.parametrize(
    "name",
    [
        "nowhere",
        "../circuits/front-battery",
        "front-battery.yaml",
        "/etc/passwd",
        "limits",
        "~/map.yaml",
        "$HOME/map.yaml",
        "`id`.yaml",
        "folder.yaml",
        "a\0b.yaml",
        "x" * 290 + ".yaml",
    ],
)
def test_a_name_leads_to_a_shipped_map_or_a_yaml_file_and_nowhere_else(tmp_path, name):
    (tmp_path / "folder.yaml").mkdir()
    assert locate(name, shelf.CIRCUITS, tmp_path) is None
    with pytest.raises(DropwalkError, match="there is no circuit map"):
        shelf.circuit_map(name, tmp_path)


def test_a_map_of_the_users_own_counts_from_the_job(tmp_path):
    (tmp_path / "mine.yaml").write_text(MAP.replace("circuit: front-battery", "circuit: mine"))
    text = JOB.replace("front-battery", "./mine.yaml")
    _, desk = shelf.fitted(parse_document(text, "f"), JobFile, tmp_path)
    assert desk.circuit.map.circuit == "mine"
    kept = shelf.rooted(Complaint(circuit="./mine.yaml"), tmp_path)
    assert shelf.circuit_map(kept.circuit, Path("/")).circuit == "mine"


def test_a_bad_map_is_told_with_the_job_that_names_it(tmp_path):
    (tmp_path / "mine.yaml").write_text(MAP.replace("kind: strap", "kind: rope"))
    text = JOB.replace("front-battery", "mine.yaml")
    found = problems(text, base=tmp_path)
    assert any("the map 'mine.yaml' has errors" in line for line in found)
    assert any("there is no choice 'rope'" in line for line in found)


def test_a_changed_map_is_read_again(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text(MAP)
    assert shelf.circuit_map("mine.yaml", tmp_path).battery.cca_a == 540
    file.write_text(MAP.replace("cca_a: 540", "cca_a: 1080"))
    assert shelf.circuit_map("mine.yaml", tmp_path).battery.cca_a == 1080


def test_a_shipped_map_is_read_once():
    first = shelf.circuit_map("front-battery", Path("/"))
    assert shelf.circuit_map("front-battery", Path("/elsewhere")) is first


WORDS = st.sampled_from(
    [
        *("job", "circuit", "front-battery", "readings", "state", "red", "black", "value", "clamp", "repaired"),
        *("chassis", "engine-block", "cranking", "open", "0.7 V", "1e400", "history", "changes", "parts", "length"),
        *("steps", "kind", "then", "points", "between", "events", "event", "at", "started", "hidden", "part", "flow"),
    ]
)
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | WORDS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS | st.text(max_size=5), inner, max_size=5),
    max_leaves=25,
)


@pytest.mark.parametrize("model", [JobFile, Scenario, CircuitMap, Flow, JobRecord])
@settings(max_examples=60, deadline=None)
@given(data=st.dictionaries(WORDS, ANYTHING, max_size=8))
def test_any_structure_is_a_model_or_a_bad_file(model, data):
    assert read(json.dumps(data), model)
