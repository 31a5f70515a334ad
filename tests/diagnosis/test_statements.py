"""Every number that a finding quotes is a reading, a limit, a sound circuit's band or a current that it knows."""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from tests.vehicles import Fault, Followed, desk, family_faults, follow, least_excess_ohm, parts_that_show
from wizard.circuit.load import Condition
from wizard.files.shelf import circuit_names
from wizard.quantities import show_amps, show_volts
from wizard.walk.assessment import JudgedReading
from wizard.walk.desk import Desk
from wizard.walk.walker import Plan

PLANS = pytest.mark.parametrize("plan", ["walk", "fastest"])
PARTS = parts_that_show()
FAMILIES = [(name, fault.label) for name in circuit_names() for fault in family_faults(desk(name).circuit)]


def known_volts(at: Desk, found: Followed) -> set[str]:
    """Every voltage that may be quoted, as it is printed."""
    readings = [r for r in found.assessment.readings if r.volts is not None]
    known = [abs(r.volts or 0.0) for r in readings]
    known += [volts for a, b in combinations(readings, 2) for volts in _between(a, b)]
    for banded in (*readings, *found.assessment.spans):
        known += [abs(edge) for edge in banded.expected_v or ()]
        known += [banded.limit_v] if banded.limit_v is not None else []
    known += [at.limits.floor(at.circuit, row)[0] for row in ("battery-resting", "battery-cranking", "motor-feed")]
    return {show_volts(volts) for volts in known}


def _between(one: JudgedReading, other: JudgedReading) -> list[float]:
    """What two readings say of the stretch between their other ends."""
    first, second = one.volts or 0.0, other.volts or 0.0
    if one.red == other.red or one.black == other.black:
        return [abs(first - second)]
    return [abs(first + second)] if one.red == other.black or one.black == other.red else []


def known_amps(at: Desk, found: Followed) -> set[str]:
    """Every current that may be quoted: the middle of what is known, clamp readings, the healthy range."""
    low, high = found.assessment.current_a or (0.0, 0.0)
    clamps = [r.amps for r in found.assessment.readings if r.amps is not None]
    return {show_amps(amps) for amps in ((low + high) / 2, low, high, *clamps, *at.circuit.demand_a)}


def check(at: Desk, fault: Fault, plan: Plan) -> None:
    found = follow(at, fault, plan)
    finding = found.assessment.finding
    assert finding is not None, fault.label
    said = finding.statement
    bands = re.findall(r"(\d+\.\d+) to \d+\.\d+ V", said)
    volts = {f"{number} V" for number in (*re.findall(r"(\d+\.\d+) V", said), *bands)}
    assert volts <= known_volts(at, found), said
    amps = set(re.findall(r"\d+ A\b", said))
    assert amps <= known_amps(at, found), said
    [named] = re.findall(r"\(.*?\breadings? ((?:\d+(?:, | and )?)+)\)", said)[:1] or [""]
    assert [int(number) for number in re.findall(r"\d+", named)] == finding.evidence, said
    assert volts or amps, said


@PLANS
@pytest.mark.parametrize(("circuit", "part"), PARTS)
def test_a_bad_part_is_told_in_true_numbers(circuit: str, part: str, plan: Plan) -> None:
    at = desk(circuit)
    ohm = least_excess_ohm(at.circuit, part)
    assert ohm is not None
    condition = Condition({part: 2 * ohm}, demand_a=at.circuit.demand_a[1])
    check(at, Fault(part, condition, at.circuit.parts[part].part.repair), plan)


@PLANS
@pytest.mark.parametrize(("circuit", "label"), FAMILIES)
def test_battery_starter_engine_and_coil_are_told_in_true_numbers(circuit: str, label: str, plan: Plan) -> None:
    at = desk(circuit)
    [fault] = [fault for fault in family_faults(at.circuit) if fault.label == label]
    if "open" in label:
        return check_open(at, fault, plan)
    return check(at, fault, plan)


def check_open(at: Desk, fault: Fault, plan: Plan) -> None:
    """A starter or coil that is open may be told without a number, but never with a wrong one."""
    found = follow(at, fault, plan)
    assert found.assessment.finding is not None
    said = found.assessment.finding.statement
    assert {f"{number} V" for number in re.findall(r"(\d+\.\d+) V", said)} <= known_volts(at, found), said
