"""The drawn run: every part once, in the order of the current, with the leads and the drops where they belong."""

from itertools import pairwise
from pathlib import Path

import pytest

from wizard.circuit.circuit import Circuit
from wizard.files import shelf
from wizard.walk.assessment import Assessment, JudgedReading, Meaning, Next, SpanView
from wizard.walk.drawing import Leads, Section, Verdict, draw, posts, reading_drop, verdict


@pytest.fixture(params=["front-battery", "remote-battery"])
def circuit(request: pytest.FixtureRequest) -> Circuit:
    return Circuit.of(shelf.circuit_map(request.param, Path("/")))


@pytest.fixture
def remote() -> Circuit:
    return Circuit.of(shelf.circuit_map("remote-battery", Path("/")))


def assessed(circuit: Circuit, readings: list[JudgedReading], spans: list[SpanView] | None = None) -> Assessment:
    return Assessment(
        circuit=circuit.map.circuit,
        flow="no-crank-clicks",
        readings=readings,
        suspects=[],
        repairs=[],
        next=Next(kind="measure", why="to see"),
        finding=None,
        spans=spans or [],
    )


def cranking(number: int, red: str, black: str, volts: float | None, **more: object) -> JudgedReading:
    return JudgedReading.model_validate(
        {"id": number, "state": "cranking", "red": red, "black": black, "volts": volts, **more}
    )


def test_every_part_and_the_starter_are_drawn_once(circuit: Circuit) -> None:
    parts = [row.part for row in draw(circuit, None, Leads()) if row.part]
    assert sorted(parts) == sorted([*circuit.parts, "starter"])


def test_the_loop_runs_from_post_to_post_and_each_part_joins_its_two_rows(circuit: Circuit) -> None:
    rows = draw(circuit, None, Leads())
    loop = [row for row in rows if row.section in (Section.POSITIVE, Section.STARTER, Section.GROUND)]
    assert loop[0].point == circuit.roles["battery.positive"]
    assert loop[-1].point == circuit.roles["battery.negative"]
    for row, after in pairwise(rows):
        if row.part in circuit.parts:
            assert {row.point, after.point} == set(circuit.parts[row.part].part.between)


def test_parallel_grounds_and_the_control_side_stand_apart(remote: Circuit) -> None:
    rows = draw(remote, None, Leads())
    assert [row.part for row in rows if row.section is Section.BESIDE] == ["thin-strap", ""]
    assert [row.part for row in rows if row.section is Section.CONTROL] == ["control-feed", "start-switch", ""]


def test_leads_mark_their_points_and_the_parts_between(remote: Circuit) -> None:
    rows = draw(remote, None, Leads("battery-positive-post", "isolator-in-stud"))
    assert [(row.point, row.lead) for row in rows if row.lead] == [
        ("battery-positive-post", "R"),
        ("isolator-in-stud", "B"),
    ]
    assert [row.part for row in rows if row.between] == ["positive-clamp", "rear-cable", "isolator-feed-joint"]


def test_leads_on_the_control_side_are_drawn_there(remote: Circuit) -> None:
    rows = draw(remote, None, Leads("battery-positive-post", "s-terminal"))
    control = [(row.point, row.lead) for row in rows if row.section is Section.CONTROL]
    assert control == [("battery-positive-post", "R"), ("switch-feed", ""), ("s-terminal", "B")]


def test_a_clamp_marks_its_part(remote: Circuit) -> None:
    rows = draw(remote, None, Leads(clamp="long-cable"))
    assert [row.part for row in rows if row.clamped] == ["long-cable"]


def test_drops_stand_beside_sound_and_limit_and_unknown_ones_are_question_marks(remote: Circuit) -> None:
    over = SpanView(
        part="isolator",
        start="isolator-in-stud",
        end="isolator-out-stud",
        expected_v=(0.02, 0.06),
        limit_v=0.1,
        lost_v=0.54,
        lost_by=[1],
        judgement="over",
    )
    rows = {row.part: row for row in draw(remote, assessed(remote, [], [over]), Leads())}
    drop = rows["isolator"].drop
    assert drop is not None
    assert (drop.lost, drop.sound, drop.limit) == ("0.54", "0.02-0.06", "0.10")
    assert drop.mark_and_word == "! over"
    unknown = rows["long-cable"].drop
    assert unknown is not None
    assert unknown.lost == "?"


def test_a_drop_too_blurred_to_judge_is_called_rough(remote: Circuit) -> None:
    span = SpanView(
        part="negative-clamp",
        start="negative-clamp-body",
        end="battery-negative-post",
        expected_v=(0.0, 0.01),
        limit_v=0.05,
        lost_v=0.06,
        lost_by=[1, 2],
    )
    rows = {row.part: row for row in draw(remote, assessed(remote, [], [span]), Leads())}
    drop = rows["negative-clamp"].drop
    assert drop is not None
    assert (drop.lost, drop.mark_and_word) == ("0.06", "? rough")


def test_a_reading_across_several_parts_stands_where_it_ends(remote: Circuit) -> None:
    red = "battery-positive-post"
    readings = [
        cranking(1, red, "bulkhead-stud", 0.7, limit_v=0.5, judgement="over"),
        cranking(2, red, "bulkhead-stud", 0.8, limit_v=0.5, judgement="over"),
        cranking(3, red, "starter-b-stud", 0.9, struck=True),
        cranking(4, red, "isolator-in-stud", 0.1, before_repair=True),
        cranking(5, red, "positive-clamp-body", 0.1),
    ]
    rows = [row for row in draw(remote, assessed(remote, readings), Leads()) if row.stretch is not None]
    assert [(row.point, row.since, row.reading) for row in rows] == [("bulkhead-stud", red, 2)]
    assert rows[0].stretch is not None
    assert rows[0].stretch.lost == "0.80"


def test_the_motor_shows_the_volts_it_works_with(remote: Circuit) -> None:
    readings = [cranking(1, "motor-stud", "starter-case", 10.2, limit_v=9.0, judgement="within")]
    row = next(row for row in draw(remote, assessed(remote, readings), Leads()) if row.part == "starter")
    assert row.drop is not None
    assert row.drop.lost == "10.20"


def test_the_posts_readings_are_found_by_state(remote: Circuit) -> None:
    pair = {"red": "battery-positive-post", "black": "battery-negative-post"}
    resting = JudgedReading(id=1, state="resting", volts=12.6, **pair)
    loaded = JudgedReading(id=2, state="cranking", volts=10.4, **pair)
    assert posts(remote, assessed(remote, [resting, loaded])) == {"resting": resting, "cranking": loaded}


@pytest.mark.parametrize(
    ("judgement", "meaning", "said"),
    [
        ("over", "fault", Verdict.OVER),
        ("over", "too-small", Verdict.TOO_SMALL),
        ("within", "idle", Verdict.IDLE),
        ("over", None, Verdict.OVER),
        ("marginal", "fault", Verdict.MARGINAL),
        ("marginal", "too-small", Verdict.TOO_SMALL),
        ("within", "sound", Verdict.SOUND),
        ("within", "watch", Verdict.WATCH),
        ("within", None, Verdict.SOUND),
        ("not-judged", None, Verdict.UNKNOWN),
    ],
)
def test_the_word_for_a_drop(judgement: str, meaning: Meaning | None, said: Verdict) -> None:
    assert verdict(judgement, meaning) is said


def test_volts_below_a_floor_are_too_low_and_not_over() -> None:
    assert verdict("over", None, floor=True) is Verdict.TOO_LOW
    assert verdict("within", None, floor=True) is Verdict.SOUND


def test_no_two_verdicts_share_a_mark() -> None:
    marks = [said.mark for said in Verdict]
    assert len(set(marks)) == len(marks)


def test_an_open_reading_says_so() -> None:
    assert reading_drop(cranking(1, "a", "b", None, open=True, judgement="over")).lost == "open"
