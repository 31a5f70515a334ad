"""What practice allows, against the tables it was taken from."""

from __future__ import annotations

from pathlib import Path

import pytest

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, operate
from wizard.circuit.map import Changes
from wizard.circuit.network import Observable
from wizard.files.shelf import circuit_map, circuit_names, limits

LIMITS = limits()
POST, STUD = "battery-positive-post", "starter-b-stud"


def remote_with(**lengths: str) -> Circuit:
    parts = {name.replace("_", "-"): {"length": length} for name, length in lengths.items()}
    return Circuit.of(circuit_map("remote-battery", Path()), Changes.model_validate({"parts": parts}))


def test_the_shipped_limits_are_sound() -> None:
    assert list(LIMITS.inconsistencies()) == []


@pytest.mark.parametrize(
    ("row", "volts"),
    [
        # US Army TM 5-3820-256-24-4, cranking circuit.
        ("cable-short", 0.1),
        ("cable-long", 0.2),
        ("switch", 0.1),
        ("solenoid-switch", 0.2),
        ("magnetic-switch", 0.3),
        ("connection", 0.0),
        ("control-part", 0.1),
        # US Navy NAVEDTRA 14050, 6 V system.
        ("cable-long-6", 0.1),
        ("switch-6", 0.1),
        ("connection-6", 0.0),
    ],
)
def test_a_parts_allowance(row: str, volts: float) -> None:
    assert LIMITS.parts[row].volts == pytest.approx(volts)


@pytest.mark.parametrize(
    ("row", "volts"),
    [
        # US Army TM 5-3820-256-24-4: ground side; control circuit.
        ("ground-side", 0.2),
        ("control-side", 0.5),
        # US Army TM 10-3930-671-24: positive cable and its connections.
        ("positive-side-strict", 0.4),
        # US Army TM 5-2420-230-24-2: both windings drawing, 20 C.
        ("control-side-both-windings", 1.0),
        # US Army TM 9-2320-211-20: 24 V system, battery to solenoid cable.
        ("positive-side-24-strict", 0.2),
        # US Navy NAVEDTRA 14050: 6 V system, the widest view of the insulated circuit.
        ("positive-side-6", 0.3),
    ],
)
def test_a_sides_limit(row: str, volts: float) -> None:
    assert LIMITS.sides[row].volts == pytest.approx(volts)


def test_allowances_add_up_to_the_worked_total() -> None:
    # US Army TM 5-3820-256-24-4: short cables 0.1, a cable of 3 to 6 ft 0.2, a mechanical switch 0.1,
    # connections nothing; a worked total is 0.5 V.
    circuit = remote_with(rear_cable="2 ft", long_cable="5 ft", engine_bay_cable="2 ft")
    parts = circuit.path(POST, STUD) or ()
    assert sum(LIMITS.allowance_v(circuit, name) for name in parts) == pytest.approx(0.5)
    assert LIMITS.span_v(circuit, POST, STUD) == pytest.approx(0.5)
    assert LIMITS.span_v(circuit, POST, "isolator-out-stud") == pytest.approx(0.2)


def test_a_cable_longer_than_the_table_is_allowed_more_in_proportion() -> None:
    # Common practice, no source: the table ends at 6 ft and 0.2 V.
    assert LIMITS.allowance_v(remote_with(long_cable="12 ft"), "long-cable") == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("leads", "volts", "judgement"),
    [
        # Common practice, no source: 0.1 V on the ground side is excellent, 0.7 V positive too high.
        (("starter-case", "battery-negative-post"), 0.1, "within"),
        ((POST, STUD), 0.7, "over"),
        # Common practice, no source: 0.4 V up to a junction after a long run is fair, but the
        # 0.3 V left on a 40 in cable is too much.
        ((POST, "bulkhead-stud"), 0.4, "within"),
        (("bulkhead-stud", STUD), 0.3, "over"),
        # US Army TM 10-3930-671-24: above 0 V from post to clamp is a poor connection.
        ((POST, "positive-clamp-body"), 0.1, "over"),
        ((POST, STUD), None, "over"),
    ],
)
def test_a_reading_while_cranking_is_judged(leads: tuple[str, str], volts: float | None, judgement: str) -> None:
    circuit = remote_with(engine_bay_cable="40 in")
    assert LIMITS.judge(circuit, "cranking", *leads, volts)[1] == judgement


@pytest.mark.parametrize("name", circuit_names())
def test_nothing_of_a_sound_vehicle_is_over_its_limit(name: str) -> None:
    circuit = Circuit.of(circuit_map(name, Path()))
    spans = [passive.part.between for passive in circuit.parts.values()] + list(circuit.runs.values())
    sound = Condition(demand_a=circuit.demand_a[1])
    read, _, _ = operate(circuit, sound, [Observable("cranking", *span) for span in spans])
    judged = [
        limits().judge(circuit, "cranking", *span, abs(volts))[1] for span, volts in zip(spans, read, strict=True)
    ]
    assert judged == ["within"] * len(spans)


def test_at_rest_a_drop_says_nothing(circuit: Circuit) -> None:
    leads = circuit.runs["positive"]
    assert LIMITS.judge(circuit, "resting", *leads, 0.0) == (None, "not-judged")


@pytest.mark.parametrize(
    ("celsius", "floor"),
    # Common practice, no source: 9.6 V on a mild day, lower in the cold as the load-test table has it.
    [(21.1, 9.6), (-6.7, 8.9)],
)
def test_the_cranking_floor_falls_in_the_cold(celsius: float, floor: float) -> None:
    circuit = Circuit.of(circuit_map("front-battery", Path()), air_c=celsius)
    posts = circuit.roles["battery.positive"], circuit.roles["battery.negative"]
    assert LIMITS.judge(circuit, "cranking", *posts, 9.0)[0] == pytest.approx(floor, abs=0.01)
