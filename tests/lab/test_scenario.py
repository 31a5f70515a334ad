"""The shipped vehicles and jobs are what they say, and a scenario that can't be is refused by name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Heard
from wizard.circuit.network import OPEN_OHM, Observable
from wizard.files.places import shipped, shipped_names
from wizard.files.shelf import circuit_map, flow
from wizard.files.yamltext import read_document
from wizard.lab.scenario import PartFault, Scenario, repairs_for
from wizard.lab.vehicle import Vehicle
from wizard.walk.events import ReadingTaken
from wizard.walk.jobfile import JobFile

FILES = {name: read_document(shipped("scenarios") / f"{name}.yaml").data for name in shipped_names("scenarios")}
SCENARIOS = {name: Scenario.model_validate(data) for name, data in FILES.items() if "scenario" in data}
JOBS = {name: JobFile.model_validate(data) for name, data in FILES.items() if "job" in data}


def circuit_of(told: Scenario | JobFile) -> Circuit:
    return Circuit.of(circuit_map(told.circuit, Path()), told.changes, told.air)


def vehicle_of(scenario: Scenario, *, noise: bool = False) -> Vehicle:
    return Vehicle(scenario, circuit_of(scenario), np.random.default_rng(1), noise=noise)


@pytest.mark.parametrize("name", FILES)
def test_every_shipped_file_fits_its_map_and_its_flow(name: str) -> None:
    told = SCENARIOS.get(name) or JOBS[name]
    assert list(told.inconsistencies()) == []
    assert list(told.misfits(circuit_map(told.circuit, Path()), flow(told.flow))) == []


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_shipped_vehicle_does_what_its_customer_says(name: str) -> None:
    assert SCENARIOS[name].scenario == name
    assert vehicle_of(SCENARIOS[name]).heard() is SCENARIOS[name].symptom


def test_one_shipped_vehicle_comes_and_goes_and_cranks_today() -> None:
    [scenario] = [s for s in SCENARIOS.values() if s.intermittent]
    assert vehicle_of(scenario).heard() is Heard.CRANKS_NORMALLY
    acting_up = vehicle_of(scenario.model_copy(update={"acting_up": 1.0}))
    assert acting_up.heard() not in (Heard.CRANKS_NORMALLY, Heard.CRANKS_SLOWLY)


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_meter_can_find_what_is_hidden(name: str) -> None:
    scenario = SCENARIOS[name]
    sound = vehicle_of(scenario.model_copy(update={"hidden": []}))
    for fault in scenario.hidden:
        assert isinstance(fault, PartFault)
        across = Observable("cranking", *sound.circuit.parts[fault.part].part.between)
        assert vehicle_of(scenario).read(across) - sound.read(across) > 0.15


def test_shipped_jobs_and_vehicles_use_both_maps_and_different_faults() -> None:
    for told in (SCENARIOS, JOBS):
        assert {each.circuit for each in told.values()} == {"front-battery", "remote-battery"}
    assert len({str(s.hidden) for s in SCENARIOS.values()}) == len(SCENARIOS) >= 3


@pytest.mark.parametrize(
    ("name", "fault", "demand_a"),
    [
        ("horse-box", {"part": "bulkhead-starter-joint", "excess": "13 mohm"}, 185.0),
        ("street-sweeper", {"part": "start-switch", "excess": "260 mohm"}, 150.0),
    ],
)
def test_a_shipped_jobs_readings_are_those_of_one_fault(name: str, fault: dict[str, str], demand_a: float) -> None:
    job = JOBS[name]
    scenario = Scenario(
        scenario="behind",
        title="Behind the job",
        story="",
        hidden=[fault],
        demand_a=demand_a,
        **dict(job.complaint()),
    )
    vehicle = vehicle_of(scenario)
    assert vehicle.heard() is job.symptom
    for entry in job.readings:
        assert isinstance(entry, ReadingTaken)
        what = Observable(entry.state, entry.red or "", entry.black or "", entry.clamp or "")
        # Tolerances of a sound vehicle, the change from crank to crank, and the meter's own accuracy.
        assert entry.value == pytest.approx(vehicle.read(what), rel=0.15, abs=0.03)


def test_a_break_and_a_plain_number_of_milliohms_are_read() -> None:
    assert PartFault(part="a", excess="open").excess_ohm(True) == OPEN_OHM
    fault = PartFault(part="a", excess=2.1, otherwise="400 uohm")
    assert fault.excess_ohm(True) == pytest.approx(2.1e-3)
    assert fault.excess_ohm(False) == pytest.approx(0.4e-3)


def scenario(**fields: Any) -> Scenario:
    told = {"scenario": "bench", "title": "Bench", "story": "", "circuit": "front-battery"}
    return Scenario.model_validate({**told, **fields})


@pytest.mark.parametrize(
    "fields",
    [
        {"hidden": [{"part": "body-strap", "excess": "2 V"}]},
        {"hidden": [{"part": "body-strap", "excess": "-1 mohm"}]},
        {"hidden": [{"part": "body-strap"}]},
        {"hidden": [{"battery": "missing"}]},
        {"hidden": [{"starter": "worn", "excess": "open"}]},
        {"hidden": ["solenoid-contacts"]},
        {"hidden": [{"wheel": "flat"}]},
        {"acting_up": 1.2},
        {"seed": -1},
        {"demand_a": "0 A"},
        {"weather": "wet"},
    ],
)
def test_what_can_not_be_is_refused(fields: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        scenario(**fields)


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"hidden": [{"part": "tow-bar", "excess": "open"}]}, ("hidden", 0, "part")),
        ({"hidden": [{"battery": "worn", "source_v": "25 V"}]}, ("hidden", 0, "source_v")),
        ({"source_v": "25 V"}, ("source_v",)),
        ({"answers": {"whistle": "yes"}}, ("answers", "whistle")),
        ({"answers": {"turn-by-hand": "yes"}}, ("answers", "turn-by-hand")),
        ({"history": {"recently-replaced": ["tow-bar"]}}, ("history", "recently-replaced", 0)),
        ({"hidden": [{"battery": "worn"}, {"battery": "discharged"}]}, ("hidden", 1)),
        (
            {"hidden": [{"part": "body-strap", "excess": "1 mohm", "otherwise": "2 mohm"}]},
            ("hidden", 0, "otherwise"),
        ),
    ],
)
def test_what_does_not_fit_is_named_where_it_is(fields: dict[str, Any], where: tuple[str | int, ...]) -> None:
    told = scenario(**fields)
    problems = [*told.inconsistencies(), *told.misfits(circuit_map(told.circuit, Path()), flow(told.flow))]
    assert [path for path, _ in problems] == [where]


@pytest.mark.parametrize(
    "fault",
    [
        {"part": "solenoid-contacts", "excess": "open"},
        {"part": "start-switch", "excess": "400 mohm"},
        {"battery": "discharged"},
        {"battery": "discharged", "source_v": "10.5 V", "ohm_ratio": 8},
        {"battery": "worn", "ohm_ratio": 10},
        {"starter": "open"},
        {"starter": "worn"},
        {"starter": "dragging"},
        {"starter": "shorted"},
        {"engine": "dragging"},
        {"coil": "open"},
    ],
    ids=str,
)
def test_a_fault_shows_and_only_its_own_repair_puts_it_right(fault: dict[str, Any]) -> None:
    told = scenario(hidden=[fault])
    chart = circuit_map(told.circuit, Path())
    right = repairs_for(told.hidden[0], chart)
    motor = Observable("cranking", "motor-stud", "starter-case")
    sound = vehicle_of(scenario())
    everything = {*circuit_of(told).repairs}
    assert right < everything
    for name in sorted(everything):
        vehicle = vehicle_of(told)
        heard, volts = vehicle.heard(), vehicle.read(motor)
        assert heard is not sound.heard() or abs(volts - sound.read(motor)) > 0.1
        vehicle.repair(name)
        assert vehicle.heard() is (sound.heard() if name in right else heard)
        assert vehicle.read(motor) == pytest.approx(sound.read(motor) if name in right else volts)
