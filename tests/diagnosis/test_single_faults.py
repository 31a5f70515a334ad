"""Every single fault that shows ends with its own repair, by either plan, and a sound vehicle loses nothing.

Readings are simulated without noise. The whole table, at every severity and under every complaint, is printed by
`python -m tests.benchmarks.single_faults`.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.vehicles import Fault, desk, family_faults, follow, healthy, least_excess_ohm, parts_that_show, prove
from wizard.circuit.load import Condition, Heard
from wizard.diagnosis.faults import NO_REPAIR
from wizard.files.shelf import circuit_names
from wizard.walk.walker import Plan

MOST_READINGS = 14
PARTS = parts_that_show()
PLANS = pytest.mark.parametrize("plan", ["walk", "fastest"])
MAPS = pytest.mark.parametrize("circuit", circuit_names())
# The customer's word, right or wrong; None is what the vehicle does.
WORDS = pytest.mark.parametrize("word", [None, Heard.ONE_CLICK], ids=["as it sounds", "told as one click"])


def gone_wrong(
    circuit: str, faults: list[Fault], plan: Plan, word: Heard | None = None, *, proved: bool = False
) -> list[str]:
    """The faults that did not end with their own repair in few enough readings, each with what came instead.

    With `proved`, the repair must also end with its proof.
    """
    wrong: list[str] = []
    for fault in faults:
        found = follow(desk(circuit), fault, plan, word)
        if found.repair != fault.repair or found.readings > MOST_READINGS:
            wrong.append(f"{fault.label}: {found.repair} after {found.readings} readings")
        elif proved and (end := prove(desk(circuit), found, plan)).step != "done":
            wrong.append(f"{fault.label}: repaired, and then {end.step}: {end.why}")
    return wrong


def worse_and_worse(circuit: str, part: str, times: list[float]) -> list[Fault]:
    """One part at these multiples of the least excess that must be found."""
    at = desk(circuit).circuit
    least = least_excess_ohm(at, part)
    assert least is not None
    repair, amps = at.parts[part].part.repair, at.demand_a[1]
    return [Fault(f"{part} x {m:g}", Condition({part: m * least}, demand_a=amps), repair) for m in times]


@PLANS
@pytest.mark.parametrize(("circuit", "part"), PARTS)
def test_a_bad_part_is_found_and_its_repair_proved(circuit: str, part: str, plan: Plan) -> None:
    """One that is bad or a break is proved, by one plan each: a proof takes as long as the search."""
    least, bad, broken = worse_and_worse(circuit, part, [1.02, 4.0, np.inf])
    proved, found = (bad, broken) if plan == "walk" else (broken, bad)
    assert gone_wrong(circuit, [proved], plan, proved=True) == []
    assert gone_wrong(circuit, [least, found], plan) == []


@PLANS
@pytest.mark.parametrize(("circuit", "part"), PARTS)
def test_a_bad_part_is_found_whatever_the_customer_said(circuit: str, part: str, plan: Plan) -> None:
    assert gone_wrong(circuit, worse_and_worse(circuit, part, [1.02, np.inf]), plan, Heard.ONE_CLICK) == []


@WORDS
@PLANS
@MAPS
def test_a_bad_battery_starter_engine_or_coil_is_found(circuit: str, plan: Plan, word: Heard | None) -> None:
    assert gone_wrong(circuit, list(family_faults(desk(circuit).circuit)), plan, word) == []


@WORDS
@PLANS
@MAPS
def test_nothing_is_condemned_on_a_sound_vehicle(circuit: str, plan: Plan, word: Heard | None) -> None:
    assert gone_wrong(circuit, list(healthy(desk(circuit).circuit)), plan, word) == []


@PLANS
@pytest.mark.parametrize(("circuit", "part"), PARTS)
def test_a_fault_too_small_to_have_to_be_found_condemns_nothing_else(circuit: str, part: str, plan: Plan) -> None:
    for fault in worse_and_worse(circuit, part, [0.9]):
        assert follow(desk(circuit), fault, plan).repair in (fault.repair, NO_REPAIR)
