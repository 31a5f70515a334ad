"""The same vehicle at twice the volts and twice the amps is the same puzzle: its resistances have not changed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import CircuitMap
from wizard.walk.desk import Desk
from wizard.walk.events import Complaint, ReadingTaken, Started
from wizard.walk.state import fold
from wizard.walk.walker import assess

READINGS = [
    ("resting", "battery-positive-post", "battery-negative-post", 12.6),
    ("cranking", "battery-positive-post", "battery-negative-post", 11.6),
    ("cranking", "battery-positive-post", "starter-b-stud", 0.92),
    ("cranking", "battery-positive-post", "bulkhead-stud", 0.81),
    ("cranking", "starter-case", "battery-negative-post", 0.15),
]


def doubled(circuit_map: CircuitMap) -> CircuitMap:
    """A 12 V map's volts and amps twice over, for 24 V."""
    data = circuit_map.model_dump(mode="python")
    data["system_v"] = 24
    data["battery"]["cca_a"] *= 2
    data["starter"]["cranking_a"] = tuple(2 * amps for amps in data["starter"]["cranking_a"])
    data["starter"]["locked_rotor_a"] *= 2
    for name in ("pull_in_a", "hold_in_a", "pull_in_v"):
        data["solenoid"][name] *= 2
    return CircuitMap.model_validate(data)


def odds(desk: Desk, times: float) -> dict[str, float]:
    """Odds of each repair after the readings, every volt taken so many times."""
    events = [Started(title="t", complaint=Complaint(circuit=desk.circuit.map.circuit, symptom="one-click"))]
    events += [ReadingTaken(state=s, red=red, black=black, value=times * v) for s, red, black, v in READINGS]
    repairs = assess(desk, fold(events), "fastest", cautions_read=True).repairs
    return {one.repair: one.probability for one in repairs}


def test_twice_the_volts_and_amps_keep_the_odds(remote_desk: Desk) -> None:
    at_12 = odds(remote_desk, 1.0)
    at_24 = odds(replace(remote_desk, circuit=Circuit.of(doubled(remote_desk.circuit.map)), _models={}), 2.0)
    assert at_24 == pytest.approx(at_12, abs=1e-9)
    assert max(at_12, key=lambda name: at_12[name]) != "no-repair"
