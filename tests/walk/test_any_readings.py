"""What must hold whatever is read: finite odds that sum to 1, no regard to order or to names, and never a failure."""

from __future__ import annotations

import dataclasses
import json
import math
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.vehicles import desk
from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.map import CircuitMap
from wizard.circuit.network import Observable
from wizard.files.places import shipped
from wizard.files.shelf import circuit_names
from wizard.files.yamltext import read_document
from wizard.walk.desk import Desk
from wizard.walk.events import (
    Answered,
    Complaint,
    Event,
    OutOfReach,
    ReadingStruck,
    ReadingTaken,
    Repaired,
    Started,
)
from wizard.walk.state import fold
from wizard.walk.walker import assess

MAPS = pytest.mark.parametrize("circuit", circuit_names())
SLOW = settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])
PLANS = st.sampled_from(["walk", "fastest"])


def any_reading(at: Desk) -> st.SearchStrategy[ReadingTaken]:
    """Any reading that a job file may hold, likely or not."""
    most = 2.5 * at.circuit.system_v
    points = st.lists(st.sampled_from(at.circuit.points), min_size=2, max_size=2, unique=True)
    volts = st.one_of(st.floats(-0.5, 1.0), st.floats(-most, most), st.just("open"))
    crank = st.none() | st.integers(1, 3)
    span = st.builds(
        lambda state, ends, value, crank: ReadingTaken(
            state=state, red=ends[0], black=ends[1], value=value, crank=crank
        ),
        st.sampled_from(["resting", "cranking", "cranking"]),
        points,
        volts,
        crank,
    )
    clamp = st.builds(
        lambda part, amps, crank: ReadingTaken(state="cranking", clamp=part, value=amps, crank=crank),
        st.sampled_from(list(at.circuit.parts)),
        st.floats(-3000.0, 3000.0),
        crank,
    )
    return st.one_of(span, span, span, clamp)


def any_event(at: Desk) -> st.SearchStrategy[Event]:
    """Any reading, answer, repair, correction or point that can't be reached."""
    asks = [(name, choice) for name, step in at.flow.steps.items() for choice in step.choices]
    return st.one_of(
        any_reading(at),
        any_reading(at),
        any_reading(at),
        st.sampled_from(asks).map(lambda pair: Answered(step=pair[0], choice=pair[1])),
        st.sampled_from(list(at.circuit.repairs)).map(lambda name: Repaired(repair=name)),
        st.integers(1, 8).map(lambda number: ReadingStruck(reading=number)),
        st.sampled_from(at.circuit.points).map(lambda point: OutOfReach(point=point)),
    )


@cache
def plausible(circuit: str) -> st.SearchStrategy[list[ReadingTaken]]:
    """Some readings, each once, that one vehicle with at most one bad part gives to a real meter."""
    at = desk(circuit).circuit
    spans = [
        Observable("resting", at.map.battery.positive, at.map.battery.negative),
        *(Observable("cranking", *run) for run in at.runs.values()),
        *(Observable("cranking", *part.part.between) for part in at.parts.values()),
        Observable("cranking", clamp=at.main_loop[1]),
    ]

    def readings(part: str | None, ohm: float, amps: float, chosen: list[int], off: list[float]) -> list[ReadingTaken]:
        condition = Condition({} if part is None else {part: ohm}, demand_a=amps)
        whats = [spans[number] for number in chosen]
        values, _, _ = operate(at, condition, whats)
        return [
            ReadingTaken(
                state=what.state,
                red=what.red or None,
                black=what.black or None,
                clamp=what.clamp or None,
                value=round(float(value) * (1 + 0.005 * shift), 2),
            )
            for what, value, shift in zip(whats, values, off, strict=False)
        ]

    return st.builds(
        readings,
        st.none() | st.sampled_from(list(at.parts)),
        st.sampled_from([0.0005, 0.002, 0.01, 1.0, math.inf]),
        st.floats(*at.demand_a[::2]),
        st.lists(st.integers(0, len(spans) - 1), min_size=1, max_size=8, unique=True),
        st.lists(st.floats(-2, 2), min_size=8, max_size=8),
    )


def job(at: Desk, events: list[Any], symptom: Heard | None = None) -> list[Event]:
    return [Started(title="x", complaint=Complaint(circuit=at.circuit.map.circuit, symptom=symptom)), *events]


def odds(at: Desk, events: list[Any], symptom: Heard | None = None) -> dict[str, float]:
    made = assess(at, fold(job(at, events, symptom)), cautions_read=True)
    return {row.repair: row.probability for row in made.repairs}


@SLOW
@MAPS
@given(data=st.data(), plan=PLANS, symptom=st.none() | st.sampled_from(Heard))
def test_no_readings_within_range_make_it_fail(circuit: str, data: st.DataObject, plan: Any, symptom: Any) -> None:
    at = desk(circuit)
    events = data.draw(st.lists(any_event(at), max_size=8))
    made = assess(at, fold(job(at, events, symptom)), plan, cautions_read=True)
    text = json.dumps(made.to_json(), allow_nan=False)
    assert "null" not in text.replace('"finding": null', "")
    assert sum(row.probability for row in made.repairs) == pytest.approx(1.0, abs=1e-9)
    assert all(0.0 <= row.probability <= 1.0 + 1e-9 for row in made.repairs)
    assert len(made.readings) == sum(isinstance(event, ReadingTaken) for event in events)


@SLOW
@MAPS
@given(data=st.data())
def test_the_order_of_readings_never_matters(circuit: str, data: st.DataObject) -> None:
    at = desk(circuit)
    readings = data.draw(plausible(circuit))
    turned = data.draw(st.permutations(readings))
    assert odds(at, turned) == pytest.approx(odds(at, readings), abs=1e-9)


@SLOW
@MAPS
@given(data=st.data(), symptom=st.sampled_from(Heard))
def test_any_readings_of_one_vehicle_give_odds(circuit: str, data: st.DataObject, symptom: Heard) -> None:
    made = odds(desk(circuit), data.draw(plausible(circuit)), symptom)
    assert all(math.isfinite(p) and -1e-12 <= p <= 1 + 1e-9 for p in made.values())
    assert sum(made.values()) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("part", desk("remote-battery").circuit.parts)
def test_a_break_anywhere_gives_numbers_everywhere(remote_desk: Desk, part: str) -> None:
    circuit = remote_desk.circuit
    whats = [Observable("cranking", *passive.part.between) for passive in circuit.parts.values()]
    whats += [Observable("resting", *passive.part.between) for passive in circuit.parts.values()]
    values, _, amps = operate(circuit, Condition({part: math.inf}), whats)
    assert all(map(math.isfinite, [*values, amps]))
    readings = [
        ReadingTaken(state=what.state, red=what.red, black=what.black, value=float(value))
        for what, value in zip(whats[:12], values[:12], strict=True)
    ]
    made = assess(remote_desk, fold(job(remote_desk, readings)), cautions_read=True)
    json.dumps(made.model_dump(mode="json"), allow_nan=False)


@cache
def renamed(circuit: str) -> tuple[Desk, dict[str, str], dict[str, str]]:
    """The desk of a map whose points and parts have other names, in an order of their own, with the new names."""
    at = desk(circuit)
    data = read_document(shipped("flows") / "circuits" / f"{circuit}.yaml").data
    points = {name: f"p{len(data['points']) - number}" for number, name in enumerate(data["points"])}
    parts = {name: f"q{len(data['parts']) - number}" for number, name in enumerate(data["parts"])}

    def anew(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: anew(item) for key, item in value.items()}
        if isinstance(value, list):
            return [anew(item) for item in value]
        return points.get(value, value) if isinstance(value, str) else value

    other = anew(data)
    other["points"] = {points[name]: value for name, value in other["points"].items()}
    other["parts"] = {parts[name]: value for name, value in other["parts"].items()}
    other["solenoid"]["contacts"] = parts[data["solenoid"]["contacts"]]
    made = Circuit.of(CircuitMap.model_validate(other))
    return dataclasses.replace(at, circuit=made, _models={}), points, parts


@SLOW
@MAPS
@given(data=st.data())
def test_names_of_points_and_parts_mean_nothing(circuit: str, data: st.DataObject) -> None:
    other, points, parts = renamed(circuit)
    readings = data.draw(plausible(circuit))
    anew = [
        reading.model_copy(
            update={
                "red": points.get(reading.red or ""),
                "black": points.get(reading.black or ""),
                "clamp": parts.get(reading.clamp or ""),
            }
        )
        for reading in readings
    ]
    assert odds(other, anew) == pytest.approx(odds(desk(circuit), readings), abs=1e-9)
