"""What a battery's volts say: charge at rest, internal resistance, and the floor while it cranks."""

from __future__ import annotations

import numpy as np

# Open-circuit volts of a 12 V flooded battery against its charge. US Army TM 5-3805-262-20.
_OPEN_CIRCUIT_V = (11.7, 12.0, 12.2, 12.4, 12.6)
_CHARGE = (0.0, 0.25, 0.50, 0.75, 1.0)
# Volts after 15 s at half the cold cranking amps, by temperature in F. Common practice, widely reprinted.
_LOAD_TEST_F = (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0)
_LOAD_TEST_V = (8.5, 8.7, 8.9, 9.1, 9.3, 9.4, 9.5, 9.6)


def charge_from_open_circuit(volts: float, system_v: float = 12.0) -> float:
    """State of charge, 0 to 1, from the volts at rest. US Army TM 5-3805-262-20, scaled to 6 and 24 V."""
    return float(np.interp(volts * 12.0 / system_v, _OPEN_CIRCUIT_V, _CHARGE))


def open_circuit_from_charge(charge: float, system_v: float = 12.0) -> float:
    """Volts at rest from the state of charge, the same table read the other way."""
    return float(np.interp(charge, _CHARGE, _OPEN_CIRCUIT_V)) * system_v / 12.0


def load_test_floor_v(celsius: float, system_v: float = 12.0) -> float:
    """Least volts at the posts of a sound battery at half its cold cranking amps. Common practice, no source.

    Warmer than 70 F the floor stays at the table's end; colder than 0 F it is carried on in a straight line.
    """
    fahrenheit = celsius * 1.8 + 32.0
    if fahrenheit < 0.0:
        floor = _LOAD_TEST_V[0] + 0.02 * fahrenheit
    else:
        floor = float(np.interp(fahrenheit, _LOAD_TEST_F, _LOAD_TEST_V))
    return floor * system_v / 12.0


def internal_ohm(cca_a: float, celsius: float, system_v: float = 12.0) -> float:
    """Internal resistance of a sound, charged battery.

    From the rating's own terms (SAE J537): at -18 C the cold cranking amps pull 12.6 V down to 7.2 V. It falls by
    about 1.1 % of that for each kelvin above, and no further than to 40 % (common practice, no source).
    """
    cold = (12.6 - 7.2) * system_v / 12.0 / cca_a
    return cold * float(np.clip(1.0 - 0.011 * (celsius + 18.0), 0.4, 1.5))
