"""What must hold of any starter with start held, whatever is wrong with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.network import Observable
from wizard.files.shelf import circuit_map, circuit_names

some_circuit = st.sampled_from([Circuit.of(circuit_map(name, Path())) for name in circuit_names()])
some_excess = st.one_of(st.just(0.0), st.floats(1e-5, 1.0), st.floats(1.0, 1e3), st.just(np.inf))


def span(circuit: Circuit, red: str, black: str, state: str = "cranking") -> Observable:
    return Observable(state, circuit.roles[red], circuit.roles[black])


def motor_volts(circuit: Circuit, condition: Condition) -> float:
    values, _, _ = operate(circuit, condition, [span(circuit, "starter.motor", "starter.case")])
    return float(values[0])


@given(data=st.data(), circuit=some_circuit, more=some_excess, less=some_excess, demand=st.floats(50.0, 600.0))
@settings(max_examples=60, deadline=None)
def test_more_excess_never_gives_the_motor_more(
    data: st.DataObject, circuit: Circuit, more: float, less: float, demand: float
) -> None:
    part = data.draw(st.sampled_from([n for n, p in circuit.parts.items() if p.part.side != "control"]))
    less, more = sorted((less, more))
    volts = [motor_volts(circuit, Condition(excess_ohm={part: excess}, demand_a=demand)) for excess in (less, more)]
    assert volts[1] <= volts[0] + 1e-6


@given(
    data=st.data(),
    circuit=some_circuit,
    source=st.floats(1.0, 14.0),
    demand=st.floats(1.0, 2000.0),
    rotor=st.sampled_from([0.3, 1.0, 5.0, np.inf]),
)
@settings(max_examples=60, deadline=None)
def test_whatever_is_wrong_the_drops_add_up_to_the_battery(
    data: st.DataObject, circuit: Circuit, source: float, demand: float, rotor: float
) -> None:
    excess = data.draw(st.dictionaries(st.sampled_from(list(circuit.parts)), some_excess, max_size=4))
    loop = [
        ("battery.positive", "starter.feed"),
        ("starter.feed", "starter.motor"),
        ("starter.motor", "starter.case"),
        ("starter.case", "battery.negative"),
    ]
    observables = [
        span(circuit, "battery.positive", "battery.negative"),
        *(span(circuit, *leads) for leads in loop),
    ]
    condition = Condition(excess_ohm=excess, source_v=source, demand_a=demand, rotor_ratio=rotor)
    values, heard, motor_a = operate(circuit, condition, observables)
    assert np.isfinite(values).all()
    assert np.isfinite(motor_a)
    assert values[1:].sum() == pytest.approx(values[0], abs=1e-6)
    assert -1e-6 <= values[0] <= source + 1e-6
    if heard in (Heard.CRANKS_NORMALLY, Heard.CRANKS_SLOWLY):
        # A turning engine sets the current, not the cables.
        assert motor_a == pytest.approx(demand, rel=1e-6)


@pytest.mark.parametrize(
    ("condition", "heard"),
    [
        (Condition(), Heard.CRANKS_NORMALLY),
        (Condition(excess_ohm={"negative-clamp": 0.015}), Heard.CRANKS_SLOWLY),
        (Condition(excess_ohm={"solenoid-contacts": 0.060}), Heard.ONE_CLICK),
        (Condition(rotor_ratio=np.inf), Heard.ONE_CLICK),
        (Condition(source_v=11.5, battery_ohm=0.070), Heard.RAPID_CLICKS),
        (Condition(excess_ohm={"start-switch": np.inf}), Heard.NO_CLICK),
        (Condition(coil_works=False), Heard.NO_CLICK),
        (Condition(excess_ohm={"positive-clamp": np.inf}), Heard.ONE_CLICK),
    ],
    ids=["sound", "clamp", "contacts", "brushes", "worn battery", "switch", "coil", "break"],
)
def test_what_is_heard(circuit: Circuit, condition: Condition, heard: Heard) -> None:
    assert operate(circuit, condition, [])[1] is heard


@pytest.mark.parametrize("part", ["positive-clamp", "solenoid-contacts", "starter-mounting", "negative-clamp"])
def test_a_break_on_the_only_way_shows_the_whole_battery_across_itself(circuit: Circuit, part: str) -> None:
    first, second = circuit.parts[part].part.between
    values, _, motor_a = operate(circuit, Condition(excess_ohm={part: np.inf}), [Observable("cranking", first, second)])
    # The coil, where it still pulls, takes the battery down a little, and its other winding lifts the motor's stud.
    assert values[0] == pytest.approx(12.6, abs=1.0)
    # All that reaches the motor is what the solenoid's pulling winding lets through.
    assert abs(motor_a) < circuit.map.solenoid.pull_in_a


def test_at_rest_a_span_reads_all_of_the_battery_or_nothing(circuit: Circuit) -> None:
    observables = [
        span(circuit, "battery.positive", "battery.negative", "resting"),
        span(circuit, "battery.positive", "starter.feed", "resting"),
        span(circuit, "starter.feed", "starter.motor", "resting"),
        span(circuit, "starter.case", "battery.negative", "resting"),
    ]
    values, _, _ = operate(circuit, Condition(source_v=12.6), observables)
    assert values == pytest.approx([12.6, 0.0, 12.6, 0.0])


def test_readings_come_back_in_the_order_they_were_asked_for(circuit: Circuit) -> None:
    posts = ("battery.positive", "battery.negative")
    mixed = [span(circuit, *posts), span(circuit, *posts, "resting"), span(circuit, *posts)]
    values, _, _ = operate(circuit, Condition(source_v=12.6), mixed)
    assert values[1] == pytest.approx(12.6)
    assert values[0] == values[2] < 12.3
