"""The volts along the run: a joint is a step, a cable a slope, and a healthy circuit stays in its band."""

import numpy as np
import pytest

from wizard.circuit.load import Condition, operate
from wizard.circuit.network import Observable
from wizard.ui.own_reading import own_target
from wizard.walk.assessment import Assessment, JudgedReading
from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.events import Complaint, ReadingTaken, Repaired, Started
from wizard.walk.profile import ProfileRow, loss_profile
from wizard.walk.proof import repair_proofs
from wizard.walk.state import fold
from wizard.walk.walker import assess, assessment_of


def assessed(desk: Desk, condition: Condition, spans: list[tuple[str, str]]) -> Assessment:
    """The answer once these spans were read on this vehicle without noise."""
    wanted = [Observable("cranking", red, black) for red, black in spans]
    values = operate(desk.circuit, condition, wanted)[0]
    log = [
        Started(title="job", complaint=Complaint(circuit=desk.circuit.map.circuit)),
        *(
            ReadingTaken(state="cranking", red=what.red, black=what.black, value=float(value))
            for what, value in zip(wanted, values, strict=True)
        ),
    ]
    return assess(desk, fold(log), cautions_read=True)


def every_point(desk: Desk) -> list[tuple[str, str]]:
    role = desk.circuit.roles
    positive = desk.circuit.points_along(role["battery.positive"], role["starter.motor"])
    ground = desk.circuit.points_along(role["starter.case"], role["battery.negative"])
    return [(side[0], point) for side in (positive, ground) for point in side[1:]]


def by_point(rows: tuple[ProfileRow, ...]) -> dict[str, ProfileRow]:
    return {row.point: row for row in rows}


def test_it_runs_from_post_to_post_once_and_never_backwards(any_desk: Desk) -> None:
    rows = loss_profile(any_desk, assessed(any_desk, Condition(), []))
    role = any_desk.circuit.roles
    assert (rows[0].point, rows[-1].point) == (role["battery.positive"], role["battery.negative"])
    assert [row.step for row in rows] == list(range(len(rows)))
    assert [row.part for row in rows if row.part] == list(any_desk.circuit.main_loop)
    positions = [row.position_m for row in rows]
    assert positions == sorted(positions)
    assert positions[-1] == pytest.approx(
        sum(any_desk.circuit.parts[name].part.length_m or 0.0 for name in any_desk.circuit.main_loop)
    )


def test_a_healthy_circuit_stays_in_its_band(any_desk: Desk) -> None:
    rows = loss_profile(any_desk, assessed(any_desk, Condition(), every_point(any_desk)))
    for row in rows:
        low, middle, high = row.expected_v
        assert low <= middle <= high
        assert row.measured_v is not None
        assert low - 0.005 <= row.measured_v <= high + 0.005, row


def test_the_band_at_the_end_of_a_side_is_that_of_the_reading_across_it(any_desk: Desk) -> None:
    role = any_desk.circuit.roles
    answer = assessed(any_desk, Condition(), [(role["battery.positive"], role["starter.motor"])])
    expected = answer.readings[0].expected_v
    assert expected is not None
    row = by_point(loss_profile(any_desk, answer))[role["starter.motor"]]
    assert row.expected_v[1] == pytest.approx(np.mean(expected), rel=0.1)


def test_a_bad_joint_is_a_step(remote_desk: Desk) -> None:
    rows = by_point(
        loss_profile(
            remote_desk,
            assessed(remote_desk, Condition(excess_ohm={"isolator-load-joint": 0.003}), every_point(remote_desk)),
        )
    )
    before, behind = rows["isolator-out-stud"], rows["isolator-load-lug"]
    assert before.position_m == behind.position_m
    assert before.measured_v is not None
    assert behind.measured_v is not None
    assert before.measured_v <= before.expected_v[2] + 0.005
    assert behind.measured_v - before.measured_v > 0.3
    assert behind.measured_v > behind.expected_v[2] + 0.2


def test_only_points_that_readings_lead_to_are_known(remote_desk: Desk) -> None:
    spans = [("battery-positive-post", "bulkhead-stud"), ("bulkhead-stud", "starter-b-stud")]
    rows = loss_profile(remote_desk, assessed(remote_desk, Condition(), spans))
    known = {row.point for row in rows if row.measured_v is not None}
    assert known == {"battery-positive-post", "bulkhead-stud", "starter-b-stud", "starter-case"}


@pytest.mark.parametrize(
    "more",
    [{"struck": True}, {"before_repair": True}, {"doubt": 0.9}, {"state": "resting"}, {"volts": None, "open": True}],
)
def test_readings_that_do_not_tell_are_left_out(remote_desk: Desk, more: dict[str, object]) -> None:
    answer = assessed(remote_desk, Condition(), [])
    reading = JudgedReading.model_validate(
        {
            "id": 1,
            "state": "cranking",
            "red": "battery-positive-post",
            "black": "bulkhead-stud",
            "volts": 0.4,
            **more,
        }
    )
    rows = by_point(loss_profile(remote_desk, answer.model_copy(update={"readings": [reading]})))
    assert rows["bulkhead-stud"].measured_v is None


def test_a_span_has_one_sound_band_on_the_card_the_drawings_and_in_the_proof(remote_desk: Desk) -> None:
    """Also as a reading of the user's own. Each reading ties the current, and with it the band, down more."""
    role = remote_desk.circuit.roles
    run, ground = (role["battery.positive"], role["starter.feed"]), (role["starter.case"], role["battery.negative"])
    joint = remote_desk.circuit.parts["isolator-load-joint"].part.between
    log = [Started(title="", complaint=Complaint(circuit="remote-battery", symptom="cranks-slowly"))]
    log += [held(run, 1.16), held(ground, 0.14), held(joint, 0.69), Repaired(repair="clean-isolator-load-joint")]
    for volts in (0.01, 11.8, 0.48, 0.14):
        case = Case.of(remote_desk, fold(log))
        answer = assessment_of(case, cautions_read=True)
        asked = answer.next
        assert asked.kind == "prove"
        assert asked.red is not None
        assert asked.black is not None
        (proof,) = repair_proofs(case)
        of_proof = {(s.what.red, s.what.black): s.sound for s in proof.spans}
        assert of_proof[asked.red, asked.black] == asked.expected_v
        profile = by_point(loss_profile(remote_desk, answer))
        for start, end in (run, ground):
            low, _, high = profile[end].expected_v
            assert of_proof[start, end] == (low, high)
            assert own_target(case, "cranking", start, end).expected_v == pytest.approx((low, high))
        drawn = next(span for span in answer.spans if span.part == "isolator-load-joint")
        assert drawn.expected_v == of_proof[joint]
        for reading in answer.readings:
            if not reading.before_repair and (reading.red, reading.black) in of_proof:
                assert reading.expected_v == of_proof[reading.red, reading.black]
        log.append(held((asked.red, asked.black), volts))


def held(span: tuple[str, str], volts: float) -> ReadingTaken:
    return ReadingTaken(state="cranking", red=span[0], black=span[1], value=volts)
