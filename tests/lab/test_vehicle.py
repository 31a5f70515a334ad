"""A simulated meter: true on average, as coarse as a real one, and the same for the same seed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.network import Observable
from wizard.files.shelf import circuit_map, flow
from wizard.lab.scenario import Scenario
from wizard.lab.vehicle import CRANK_CHANGE, Vehicle
from wizard.walk.flow import NOT_SURE

CIRCUIT = Circuit.of(circuit_map("front-battery", Path()))
FLOW = flow("no-crank-clicks")
POSITIVE = Observable("cranking", "battery-positive-post", "starter-b-stud")
GROUND = Observable("cranking", "starter-case", "battery-negative-post")
POSTS = Observable("resting", "battery-positive-post", "battery-negative-post")
CLAMP = Observable("cranking", clamp="positive-cable")


def vehicle(*, noise: bool = True, chance: int = 1, **fields: Any) -> Vehicle:
    told = {"scenario": "bench", "title": "Bench", "story": "", "circuit": "front-battery", **fields}
    return Vehicle(Scenario.model_validate(told), CIRCUIT, np.random.default_rng(chance), noise=noise)


@pytest.mark.parametrize("what", [POSITIVE, GROUND, POSTS, CLAMP])
def test_without_noise_it_reads_what_the_circuit_model_says(what: Observable) -> None:
    condition = Condition(
        excess_ohm={"block-joint": 4e-3}, demand_a=160.0, source_v=12.5, battery_ohm=2.0 * CIRCUIT.battery_ohm
    )
    true = float(operate(CIRCUIT, condition, [what])[0][0])
    hidden = [
        {"part": "block-joint", "excess": "4 mohm"},
        {"battery": "worn", "source_v": "12.5 V", "ohm_ratio": 2},
    ]
    assert vehicle(noise=False, hidden=hidden, demand_a=160).read(what) == pytest.approx(true)


def test_the_meter_is_true_on_average_and_as_accurate_as_it_says() -> None:
    bench = vehicle()
    reads = np.array([bench.read(POSTS) for _ in range(1500)])
    # The shipped meter: 0.5 % of the reading and 5 mV, one standard deviation each.
    assert reads.mean() == pytest.approx(12.6, abs=0.01)
    assert reads.std() == pytest.approx(np.hypot(0.005 * 12.6, 0.005), rel=0.1)


def test_cranks_differ_and_readings_in_one_crank_share_its_current() -> None:
    bench = vehicle()
    exact = vehicle(noise=False)
    ratios: list[tuple[float, float]] = []
    for _ in range(400):
        bench.crank()
        ratios.append((bench.read(POSITIVE) / exact.read(POSITIVE), bench.read(GROUND) / exact.read(GROUND)))
    first, second = np.array(ratios).T
    assert np.sqrt(np.cov(first, second)[0, 1]) == pytest.approx(CRANK_CHANGE, rel=0.25)


@pytest.mark.parametrize(("what", "step"), [(POSITIVE, 0.001), (POSTS, 0.01), (CLAMP, 1.0)])
def test_the_display_shows_no_more_places_than_a_meter_has(what: Observable, step: float) -> None:
    bench = vehicle()
    steps = np.array([bench.read(what) for _ in range(40)]) / step
    assert steps == pytest.approx(np.round(steps), abs=1e-6)


def test_the_same_seeds_give_the_same_readings() -> None:
    reads = [
        [bench.read(POSITIVE) for _ in range(5)]
        for bench in (vehicle(seed=3, chance=8), vehicle(seed=3, chance=8), vehicle(seed=3, chance=9))
    ]
    assert reads[0] == reads[1] != reads[2]


def test_a_vehicle_keeps_its_own_tolerances_whatever_the_meter_does() -> None:
    exact = [vehicle(noise=False, seed=seed, chance=chance).read(POSITIVE) for seed, chance in ((3, 1), (3, 2), (4, 1))]
    assert exact[0] == exact[1] != exact[2]


def test_a_fault_that_comes_and_goes_shows_as_often_as_it_says() -> None:
    fault = {"part": "solenoid-contacts", "excess": "open", "otherwise": "0.3 mohm"}
    bench = vehicle(hidden=[fault], acting_up=0.3)
    heard = [bench.crank() for _ in range(300)]
    assert heard.count(Heard.ONE_CLICK) / len(heard) == pytest.approx(0.3, abs=0.09)
    assert set(heard) == {Heard.ONE_CLICK, Heard.CRANKS_NORMALLY}


@pytest.mark.parametrize(
    ("step", "fields", "choice"),
    [
        ("turn-by-hand", {"hidden": [{"engine": "dragging"}]}, "hard-to-turn"),
        ("turn-by-hand", {"hidden": [{"starter": "open"}]}, "turns-freely"),
        ("bench-test", {"hidden": [{"starter": "worn"}]}, "fails-the-test"),
        ("bench-test", {"hidden": [{"engine": "dragging"}]}, "passes-the-test"),
        ("turn-by-hand", {}, "turns-freely"),
        ("turn-by-hand", {"answers": {"turn-by-hand": "not-sure"}}, "not-sure"),
        ("any-click", {"hidden": [{"coil": "open"}]}, "no-click"),
        ("complaint", {}, "cranks-normally"),
        ("open-and-look", {"answers": {"open-and-look": "damage"}}, "damage"),
        ("open-and-look", {}, NOT_SURE),
    ],
)
def test_someone_with_eyes_and_ears_answers(step: str, fields: dict[str, Any], choice: str) -> None:
    assert vehicle(**fields).answer(step, FLOW.steps[step]) == choice


def test_a_lead_on_a_point_that_is_not_there_is_refused() -> None:
    with pytest.raises(KeyError):
        vehicle().read(Observable("cranking", "battery-positive-post", "nowhere"))
