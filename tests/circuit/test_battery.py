"""What a battery's volts say, against published tables."""

from __future__ import annotations

import pytest

from wizard.circuit.battery import (
    charge_from_open_circuit,
    internal_ohm,
    load_test_floor_v,
    open_circuit_from_charge,
)

# US Army TM 5-3805-262-20: 12 V flooded battery.
CHARGE = [(11.7, 0.0), (12.0, 0.25), (12.2, 0.50), (12.4, 0.75), (12.6, 1.0)]
# Half the cold cranking amps for 15 s, degrees F. Widely reprinted service table; common practice, no source.
LOAD_TEST = [(70, 9.6), (60, 9.5), (50, 9.4), (40, 9.3), (30, 9.1), (20, 8.9), (10, 8.7), (0, 8.5)]


@pytest.mark.parametrize(("volts", "charge"), CHARGE)
@pytest.mark.parametrize("system_v", [6.0, 12.0, 24.0])
def test_open_circuit_volts_to_charge_and_back(volts: float, charge: float, system_v: float) -> None:
    scaled = volts * system_v / 12.0
    assert charge_from_open_circuit(scaled, system_v) == pytest.approx(charge)
    assert open_circuit_from_charge(charge, system_v) == pytest.approx(scaled)


@pytest.mark.parametrize(("volts", "charge"), [(10.0, 0.0), (13.2, 1.0)])
def test_beyond_the_table_it_is_empty_or_full(volts: float, charge: float) -> None:
    # US Army TM 5-3805-262-20: "11.7 or less", "12.6 or more".
    assert charge_from_open_circuit(volts) == charge


@pytest.mark.parametrize(("fahrenheit", "volts"), LOAD_TEST)
def test_load_test_floor(fahrenheit: float, volts: float) -> None:
    assert load_test_floor_v((fahrenheit - 32.0) / 1.8) == pytest.approx(volts)


def test_the_rating_itself() -> None:
    # SAE J537: the cold cranking amps are held at -18 C above 7.2 V.
    assert 12.6 - 680.0 * internal_ohm(680.0, -18.0) == pytest.approx(7.2)


def test_half_the_rating_on_a_mild_day_stays_above_the_load_tests_floor() -> None:
    # The two facts come from different tables, so this ties the resistance to the floor: 9.6 V at 70 F.
    assert 12.6 - 340.0 * internal_ohm(680.0, 21.1) > load_test_floor_v(21.1)
