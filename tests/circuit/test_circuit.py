"""A map made ready: this vehicle's lengths and sizes, its temperature, and the ways through it."""

from __future__ import annotations

from pathlib import Path

import pytest

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Changes
from wizard.files.shelf import circuit_map


def changed(part: str, **change: object) -> Circuit:
    return Circuit.of(circuit_map("remote-battery", Path()), Changes.model_validate({"parts": {part: change}}))


@pytest.mark.parametrize(
    ("change", "ratio"),
    [
        ({"length": "8.4 m"}, 2.0),
        ({"size": "25 mm2"}, 2.0),
        # From memory: hard-drawn aluminium conducts 61 % as well as annealed copper (IEC 60889).
        ({"conductor": "aluminium"}, 1 / 0.61),
    ],
)
def test_a_longer_thinner_or_cheaper_cable_loses_more(remote: Circuit, change: dict[str, str], ratio: float) -> None:
    other = changed("long-cable", **change)
    assert other.parts["long-cable"].ohm / remote.parts["long-cable"].ohm == pytest.approx(ratio, rel=0.02)
    assert other.parts["rear-cable"].ohm == remote.parts["rear-cable"].ohm


def test_a_resistance_of_its_own_wins() -> None:
    assert changed("isolator", resistance="1.5 mohm").parts["isolator"].ohm == pytest.approx(1.5e-3)


def test_a_changed_part_that_the_map_does_not_have_is_refused() -> None:
    with pytest.raises(KeyError):
        changed("second-battery", length="1 m")


def test_cold_makes_the_battery_weaker_and_the_engine_harder_to_turn(circuit: Circuit) -> None:
    cold = Circuit.of(circuit.map, air_c=-15.0)
    assert cold.battery_ohm > circuit.battery_ohm
    assert cold.demand_a[1] > circuit.demand_a[1]
    # IEC 60028: copper itself loses less in the cold.
    cables = [name for name, passive in circuit.parts.items() if passive.part.kind == "cable"]
    assert all(cold.parts[name].ohm < circuit.parts[name].ohm for name in cables)


def test_the_loop_runs_from_post_to_post(circuit: Circuit) -> None:
    positive, negative = (circuit.roles[role] for role in ("battery.positive", "battery.negative"))
    feed, case = circuit.roles["starter.feed"], circuit.roles["starter.case"]
    there, back = circuit.points_along(positive, feed), circuit.points_along(case, negative)
    assert there[0] == positive
    assert there[-1] == feed
    assert back[0] == case
    assert back[-1] == negative
    assert not set(there) & set(back)
    assert circuit.main_loop[0] == "positive-clamp"
    assert circuit.main_loop[-1] == "negative-clamp"


def test_the_heavy_way_back_is_the_one_drawn(remote: Circuit) -> None:
    assert "engine-strap" in remote.main_loop
    assert "thin-strap" not in remote.main_loop


def test_no_way_leads_from_the_positive_to_the_ground_side(circuit: Circuit) -> None:
    assert circuit.path(circuit.roles["battery.positive"], circuit.roles["starter.case"]) is None
