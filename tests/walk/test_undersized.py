"""Which cable is too small for its length, when what is over the limit reads as sound parts of these sizes do."""

from pathlib import Path

import pytest

from tests.vehicles import read
from wizard.circuit.load import Condition
from wizard.circuit.map import Changes, PartChange
from wizard.files import shelf
from wizard.quantities import Size
from wizard.walk.assessment import Next
from wizard.walk.events import Complaint, Started
from wizard.walk.state import fold
from wizard.walk.undersized import undersized
from wizard.walk.walker import assess

POSITIVE = ("battery-positive-post", "starter-b-stud")
BOTH = ["long-cable", "engine-bay-cable"]


def found(change, circuit="remote-battery", excess=None):
    complaint = Complaint(circuit=circuit, symptom="cranks-slowly", changes=Changes(parts=change))
    desk = shelf.desk_for(complaint, "no-crank-clicks", Path())
    condition = Condition(excess or {}, demand_a=desk.circuit.demand_a[1])
    asked = Next(kind="measure", why="", state="cranking", red=POSITIVE[0], black=POSITIVE[1])
    reading = read(desk.circuit, condition, asked)
    answer = assess(desk, fold([Started(title="", complaint=complaint), reading]), cautions_read=True)
    return undersized(desk.circuit, answer.readings, answer.spans), answer


def thin(length_m, size):
    return PartChange(length_m=length_m, size=Size.parse(size))


@pytest.mark.parametrize(
    ("change", "parts"),
    [
        ({"long-cable": thin(4.2, "25 mm2")}, ["long-cable"]),
        (
            {"long-cable": thin(4.2, "25 mm2"), "engine-bay-cable": thin(1.5, "16 mm2")},
            ["long-cable", "engine-bay-cable"],
        ),
        ({}, []),
    ],
)
def test_each_cable_over_its_own_allowance_is_named(change, parts):
    small, answer = found(change)
    assert [cable.part for cable in small] == parts
    assert all(cable.alone and cable.sound_v > cable.limit_v for cable in small)
    assert sum("too small for its length" in line for line in answer.warnings) == len(parts)
    # 25 mm2 of IEC 60228's solid copper over 4.2 m: 2.9 mohm and a few per cent more, at about the map's 170 A.
    if parts:
        assert small[0].sound_v == pytest.approx(170 * 4.2 / 58 / 25, rel=0.1)


def test_a_run_that_is_too_small_as_a_whole_names_the_cable_that_loses_most():
    small, answer = found({"long-cable": thin(5.5, "50 mm2"), "rear-cable": thin(0.9, "35 mm2")})
    assert [cable.part for cable in small] == ["long-cable"]
    assert not small[0].alone
    assert small[0].sound_v < small[0].limit_v
    assert "in place of the long cable" in answer.warnings[0]


def test_a_fault_is_not_taken_for_a_thin_cable():
    small, _ = found({}, excess={"long-cable": 6e-3})
    assert small == []
