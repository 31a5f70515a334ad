"""Before and after a repair: volts won back, what was predicted, and what is left."""

from dataclasses import replace

import pytest

from tests.vehicles import desk, read
from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition
from wizard.circuit.map import Changes, PartChange
from wizard.diagnosis.evidence import DOUBTED
from wizard.quantities import Size
from wizard.record.proof_lines import repair_lines
from wizard.walk.asking import Asking
from wizard.walk.assessment import Next
from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, Complaint, ReadingTaken, Repaired, Started
from wizard.walk.proof import foresee_proof, repair_proofs
from wizard.walk.retest import did_not_help
from wizard.walk.standing import standing
from wizard.walk.state import fold
from wizard.walk.walker import assess

POSITIVE = ("battery-positive-post", "starter-b-stud")
GROUND = ("starter-case", "battery-negative-post")
JOINT = ("isolator-out-stud", "isolator-load-lug")
FIX = "clean-isolator-load-joint"
BOTH = {"isolator-load-joint": 4e-3, "engine-bay-cable": 5e-3}
FIXED: dict[str, float] = {}


def job(at, excess, *spans):
    """Readings of a vehicle with these faults, one crank each."""
    condition = Condition(excess, demand_a=at.circuit.demand_a[1])
    asked = [Next(kind="measure", why="", state="cranking", red=red, black=black) for red, black in spans]
    return [read(at.circuit, condition, step) for step in asked]


def case(at, *log):
    started = Started(title="", complaint=Complaint(circuit=at.circuit.map.circuit, symptom="cranks-slowly"))
    return Case.of(at, fold([started, *log]))


BEFORE = (POSITIVE, GROUND, JOINT)
# Every span of the proof.
PROOF = (
    *BEFORE,
    ("battery-positive-post", "battery-negative-post"),
    ("starter-b-stud", "motor-stud"),
    ("battery-positive-post", "s-terminal"),
)


def test_volts_won_back_are_as_predicted(remote_desk):
    before = job(remote_desk, {"isolator-load-joint": 4e-3}, *BEFORE)
    said = {told.what: told.band for told in foresee_proof(case(remote_desk, *before), FIX)}
    (proof,) = repair_proofs(case(remote_desk, *before, Repaired(repair=FIX), *job(remote_desk, {}, *PROOF)))
    assert (proof.number, proof.repair, proof.helped, proof.remains) == (1, FIX, True, ())
    assert {(span.what.red, span.what.black) for span in proof.spans} == set(PROOF)
    for span in proof.spans:
        assert span.against == "as-predicted"
        assert span.predicted == said[span.what]
        assert span.judgement == "within"
        assert span.margin_v == pytest.approx(abs(span.limit - span.after))
        assert span.margin_times == (None if span.floor else pytest.approx(span.limit / span.after))
    assert [span.floor for span in proof.spans].count(True) == 1
    joint = next(span for span in proof.spans if span.what.red == "isolator-out-stud")
    # 4 mohm at the map's 170 A, by Ohm's law.
    assert joint.won_back == pytest.approx(0.68, abs=0.02)


def test_nothing_is_foretold_of_what_was_not_read_where_a_band_would_hold_good_and_bad_alike(remote_desk):
    """With nothing read, a side may lose next to nothing or most of the battery, whatever is done to one joint."""
    said = {told.what: told.band for told in foresee_proof(case(remote_desk), FIX)}
    done = case(remote_desk, Repaired(repair=FIX), *job(remote_desk, {}, *PROOF))
    (proof,) = repair_proofs(done)
    assert {span.what: span.predicted for span in proof.spans} == said
    for span in proof.spans:
        assert (span.predicted is None) == (span.against == "not-foretold")
        if span.predicted is not None and not span.floor:
            most = span.limit + span.sound[1] - span.sound[0]
            assert span.predicted.high - span.predicted.low <= most + 0.05
    assert next(span for span in proof.spans if (span.what.red, span.what.black) == JOINT).predicted is not None
    untold = [line for line in repair_lines(done)[0].spans if line.predicted_band is None]
    assert untold
    assert {(line.predicted, line.against) for line in untold} == {("nothing was foretold: it was not read before", "")}


def test_an_unread_proof_says_neither_that_it_helped_nor_that_it_did_not(remote_desk):
    before = job(remote_desk, {"isolator-load-joint": 4e-3}, *BEFORE)
    (proof,) = repair_proofs(case(remote_desk, *before, Repaired(repair=FIX)))
    assert proof.helped is None
    assert {span.against for span in proof.spans} == {"not-read"}
    assert all(span.unread and not span.at_fault for span in proof.spans)
    assert {span.judgement for span in proof.spans} == {"not-judged"}
    assert all(span.won_back is None for span in proof.spans)


def test_a_second_fault_is_told_from_what_the_repair_took(remote_desk):
    before = job(remote_desk, BOTH, *BEFORE)
    left = job(remote_desk, {"engine-bay-cable": 5e-3}, *PROOF)
    (proof,) = repair_proofs(case(remote_desk, *before, Repaired(repair=FIX), *left))
    assert proof.helped is True
    (remains,) = proof.remains
    assert "second fault" in remains
    assert "battery positive post to starter B stud" in remains
    assert [(span.what.red, span.what.black) for span in proof.spans if span.at_fault] == [POSITIVE]
    assert not any(span.unread for span in proof.spans)


def test_a_change_smaller_than_cranks_differ_by_is_not_claimed(remote_desk):
    before = job(remote_desk, {"isolator-load-joint": 4e-3}, *PROOF)
    (proof,) = repair_proofs(case(remote_desk, *before, Repaired(repair=FIX), *job(remote_desk, {}, *PROOF)))
    spans = proof.spans
    for span in spans:
        if span.won_back is not None:
            # Half a hundredth of a volt of the meter and 4 % from crank to crank, both of the priors, of two readings.
            assert span.tells_v == pytest.approx(
                1.645 * sum(0.005**2 + (0.005 * v) ** 2 + (0.04 * (12.6 - v if span.floor else v)) ** 2
                            for v in (span.before, span.after)) ** 0.5,
                rel=0.01,
            )  # fmt: skip
    ground = next(span for span in spans if (span.what.red, span.what.black) == GROUND)
    assert abs(ground.won_back) < ground.tells_v
    joint = next(span for span in spans if (span.what.red, span.what.black) == JOINT)
    assert joint.won_back > joint.tells_v
    assert not joint.apart
    assert not joint.before_apart


def test_a_span_that_was_the_difference_of_two_readings_says_which(remote_desk):
    start, end = "battery-positive-post", ("isolator-out-stud", "isolator-load-lug")
    before = job(remote_desk, {"isolator-load-joint": 4e-3}, *[(start, point) for point in end])
    ground = job(remote_desk, {}, ("battery-positive-post", "battery-negative-post"), GROUND)
    log = [Started(title="", complaint=Complaint(circuit="remote-battery")), *before, *ground, Repaired(repair=FIX)]
    why = assess(remote_desk, fold(log), cautions_read=True).next.why
    assert "Before, it was the difference of readings 1 and 2; now read straight across." in why
    after = job(remote_desk, {}, JOINT)
    joint = repair_proofs(case(remote_desk, *before, Repaired(repair=FIX), *after))[0].spans[0]
    assert (joint.before_numbers, joint.before_apart) == ((1, 2), True)
    assert (joint.numbers, joint.apart) == ((3,), False)
    assert joint.before == pytest.approx(0.69, abs=0.03)


def test_a_repair_whose_own_span_reads_as_before_did_not_help_whatever_else_is_unread(remote_desk):
    before, again = (job(remote_desk, {"isolator-load-joint": 4e-3}, *spans) for spans in (BEFORE, (JOINT,)))
    log = [*before, Repaired(repair=FIX), *again]
    once = case(remote_desk, *log)
    (proof,) = repair_proofs(once)
    assert (proof.helped, proof.some) == (False, False)
    assert any(span.unread for span in proof.spans)
    assert [line for line in proof.remains if "what was to be put right still is not" in line]
    told = standing(once)
    assert told is not None
    assert (told.stands, "read 0.68 V before any repair, 0.68 V after repair 1." in told.told) == ("did-not-help", True)
    twice = case(remote_desk, *log, Repaired(repair=FIX), *again)
    _, proof = repair_proofs(twice)
    assert proof.helped is False
    told = standing(twice)
    assert told is not None
    assert "was done twice and did not help:" in told.told
    assert "0.68 V after repair 1, 0.68 V after repair 2. Practice allows 0.05 V." in told.told
    by_span = {(span.what.red, span.what.black): span for span in proof.spans}
    assert by_span[POSITIVE].before is None
    number, drop = by_span[POSITIVE].first
    assert (number, drop.numbers) == (1, (1,))


def test_a_repair_that_won_half_back_did_not_help_enough(remote_desk):
    # Read twice: the first of such a pair is doubted.
    half = job(remote_desk, {"isolator-load-joint": 2e-3}, JOINT, JOINT)
    after = case(remote_desk, *job(remote_desk, {"isolator-load-joint": 4e-3}, *BEFORE), Repaired(repair=FIX), *half)
    (proof,) = repair_proofs(after)
    assert (proof.helped, proof.some) == (False, True)
    told = standing(after)
    assert told is not None
    assert "was done and did not help enough" in told.told
    assert "read 0.68 V before any repair, 0.35 V after repair 1. Practice allows 0.05 V." in told.told


def test_a_reading_in_doubt_does_not_say_that_a_repair_did_not_help(remote_desk):
    before = job(remote_desk, {"isolator-load-joint": 4e-3}, *BEFORE)
    wild = ReadingTaken(state="cranking", red=JOINT[0], black=JOINT[1], value=5.0)
    held = job(remote_desk, {}, POSITIVE, GROUND)
    doubtful = case(remote_desk, *before, Repaired(repair=FIX), *held, wild)
    assert doubtful.belief.doubt[6] >= DOUBTED
    assert not did_not_help(doubtful)
    (proof,) = repair_proofs(doubtful)
    assert proof.helped is None


@pytest.mark.parametrize(
    ("log", "stands"),
    [
        ([], None),
        ([Repaired(repair=FIX)], "not-proved"),
        ([Repaired(repair=FIX), (FIXED, PROOF)], "proved"),
        ([Repaired(repair=FIX), (FIXED, PROOF), Answered(step="cranks-now", choice="still-fails")], "did-not-help"),
        ([Repaired(repair=FIX), ({"engine-bay-cable": 5e-3}, PROOF)], "fault-left"),
    ],
)
def test_where_a_job_stands_after_its_repair(remote_desk, log, stands):
    before = job(remote_desk, BOTH if stands == "fault-left" else {"isolator-load-joint": 4e-3}, *BEFORE)
    after = [e for part in log for e in (job(remote_desk, part[0], *part[1]) if isinstance(part, tuple) else [part])]
    told = standing(case(remote_desk, *before, *after))
    assert (told and told.stands) == stands


def test_a_span_that_was_not_read_before_is_not_asked_for_as_before(remote_desk):
    log = [*job(remote_desk, {"isolator-load-joint": 4e-3}, *BEFORE), Repaired(repair=FIX)]
    for _ in PROOF:
        asked = Asking(case(remote_desk, *log)).proof()
        assert asked is not None
        known = (asked.red, asked.black) in BEFORE
        assert ("as before" in asked.why) is known
        assert (asked.first_read is None) is known
        if asked.first_read is not None:
            assert asked.first_read.startswith("Not read before the repair: it tells whether ")
            assert asked.why.endswith(asked.first_read)
        log += job(remote_desk, {}, (asked.red, asked.black))
    assert Asking(case(remote_desk, *log)).proof() is None


def test_a_repair_that_changed_nothing_did_not_help(remote_desk):
    same = job(remote_desk, {"isolator-load-joint": 4e-3}, *PROOF)
    (proof,) = repair_proofs(case(remote_desk, *same, Repaired(repair=FIX), *same))
    assert proof.helped is False
    joint = next(span for span in proof.spans if span.what.red == "isolator-out-stud")
    assert joint.against == "above"
    assert joint.won_back == pytest.approx(0.0, abs=1e-9)


def test_a_cable_too_small_for_its_length_is_told_from_a_fault():
    shipped = desk("remote-battery")
    thin = PartChange(length_m=4.2, size=Size.parse("16 mm2"))
    circuit = Circuit.of(shipped.circuit.map, Changes(parts={"long-cable": thin}), 20.0)
    at = Desk(circuit, shipped.flow, shipped.limits, shipped.cautions, shipped.priors)
    before, after = job(at, {"isolator-load-joint": 4e-3}, *BEFORE), job(at, {}, *PROOF)
    (proof,) = repair_proofs(case(at, *before, Repaired(repair=FIX), *after))
    assert [line for line in proof.remains if "only larger cable helps" in line]
    assert "over" in {span.judgement for span in proof.spans}
    assert not any(span.at_fault for span in proof.spans)


def test_each_of_two_repairs_has_its_own_proof(remote_desk):
    fixed = Repaired(repair=FIX), Repaired(repair="replace-engine-bay-cable")
    far = ("bulkhead-starter-lug", "starter-lug")
    log = [*job(remote_desk, BOTH, *BEFORE, far), fixed[0], *job(remote_desk, {"engine-bay-cable": 5e-3}, *PROOF, far)]
    proofs = repair_proofs(case(remote_desk, *log, fixed[1], *job(remote_desk, {}, *PROOF, far)))
    assert [(proof.repair, proof.helped) for proof in proofs] == [
        (FIX, True),
        ("replace-engine-bay-cable", True),
    ]
    assert proofs[1].remains == ()


THIN = {"long-cable": PartChange(size=Size.parse("10 mm2"))}
CABLE = ("isolator-load-lug", "bulkhead-feed-lug")


@pytest.mark.parametrize("excess", [0.0, 3e-3], ids=["sound-but-thin", "thin-and-corroded"])
def test_a_larger_cable_is_foreseen_and_judged_as_fitted(remote_desk, excess):
    """A thin cable is replaced by the map's: readings before it are of the old one, those after it of the new."""
    chart = remote_desk.circuit.map
    thin = replace(remote_desk, circuit=Circuit.of(chart, Changes(parts=THIN)))
    larger = {"long-cable": PartChange(size=Size.parse("50 mm2"))}
    before = job(thin, {"long-cable": excess} if excess else {}, POSITIVE, CABLE)
    said = foresee_proof(case(thin, *before), "replace-long-cable", larger)
    done = Repaired(repair="replace-long-cable", fitted=larger)
    after = case(thin, *before, done, *job(remote_desk, {}, CABLE, *PROOF[:2], *PROOF[3:]))
    (proof,) = repair_proofs(after)
    assert after.desk.circuit.parts["long-cable"].ohm == remote_desk.circuit.parts["long-cable"].ohm
    assert after.before is not None
    assert after.before.desk.circuit == thin.circuit
    assert {span.what: span.predicted for span in proof.spans} == {told.what: told.band for told in said}
    cable = next(span for span in proof.spans if span.what.red == CABLE[0])
    # By Ohm's law, 170 A over 4.2 m: 40 mm2 less of copper are 1/58 * 4.2 * (1/10 - 1/50) = 5.8 mohm more.
    assert cable.won_back == pytest.approx(170 * (5.8e-3 + excess), rel=0.15)
    assert cable.against == "as-predicted"


def test_a_new_cable_is_as_long_as_the_old_one_and_of_the_maps_metal(remote_desk):
    old = PartChange(length_m=5.0, size=Size.parse("25 mm2"), conductor="copper-clad-aluminium")
    came = replace(remote_desk, circuit=Circuit.of(remote_desk.circuit.map, Changes(parts={"long-cable": old})))
    now = came.with_fitted({"long-cable": PartChange(size=Size.parse("2/0 AWG"))})
    part = now.circuit.parts["long-cable"].part
    assert (part.length_m, str(part.size), part.conductor) == (5.0, "2/0 AWG", "copper")
    assert now.with_fitted({}) is came


def test_volts_that_were_not_won_back_are_not_claimed(remote_desk):
    """A new starter draws what the dead one did not, and leaves the motor fewer volts."""
    motor = ("motor-stud", "starter-case")
    at_the_motor = ReadingTaken(state="cranking", red=motor[0], black=motor[1], value=12.4)
    posts = ReadingTaken(state="resting", red="battery-positive-post", black="battery-negative-post", value=12.6)
    clamp = ReadingTaken(state="cranking", clamp="rear-cable", value=0.0)
    started = Started(title="", complaint=Complaint(circuit="remote-battery", symptom="one-click"))
    log = [started, posts, at_the_motor, clamp]
    found = assess(remote_desk, fold(log), cautions_read=True).finding
    assert found is not None
    assert found.repair == "replace-starter"
    log += [Repaired(repair="replace-starter"), *job(remote_desk, {}, motor, *PROOF)]
    answer = assess(remote_desk, fold(log), cautions_read=True)
    assert answer.finding is not None
    assert "After the repair it reads 11." in answer.finding.statement
    assert "won back" not in answer.finding.statement


def test_a_proved_finding_counts_what_the_proof_measured_as_measured(remote_desk):
    started = Started(title="", complaint=Complaint(circuit="remote-battery", symptom="cranks-slowly"))
    log = [started, *job(remote_desk, {"isolator-load-joint": 8e-3}, *BEFORE)]
    found = assess(remote_desk, fold(log), cautions_read=True).finding
    assert found is not None
    assert "Not measured: the solenoid contacts." in found.statement
    log += [Repaired(repair=FIX), *job(remote_desk, {}, *PROOF)]
    proved = assess(remote_desk, fold(log), cautions_read=True).finding
    assert proved is not None
    assert "won back" in proved.statement
    assert "Not measured" not in proved.statement
    assert "the solenoid contacts lose 0.04 V and the ground side loses 0.14 V, within limits" in proved.statement
