"""Cable resistance against published tables."""

from __future__ import annotations

import math

import pytest

from wizard.circuit.conductors import (
    Conductor,
    flexible_max_ohm,
    healthy_ohm,
    solid_ohm,
    temperature_factor,
)
from wizard.quantities import Size

FOOT_M = 0.3048

# Ohm per 1000 ft of annealed copper at 20 C. 10 to 18 AWG: NBS Handbook 100 (1966), Copper Wire Tables.
NBS_100 = {"10": 0.9989, "12": 1.588, "14": 2.525, "16": 4.016, "18": 6.385}
# Heavier sizes of the same table, from memory.
NBS_100_FROM_MEMORY = {
    "8": 0.6282, "6": 0.3951, "4": 0.2485, "2": 0.1563, "1": 0.1239,
    "1/0": 0.09827, "2/0": 0.07793, "4/0": 0.04901,
}  # fmt: skip
# Inches. ASTM B258.
ASTM_B258 = {
    "4/0": 0.4600, "3/0": 0.4096, "2/0": 0.3648, "1/0": 0.3249, "1": 0.2893,
    "2": 0.2576, "4": 0.2043, "6": 0.1620, "8": 0.1285,
}  # fmt: skip
# IEC 60228 class 5, highest ohm/km at 20 C by nominal mm2.
IEC_60228_PLAIN = {
    1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91, 16: 1.21, 25: 0.780,
    35: 0.554, 50: 0.386, 70: 0.272, 95: 0.206, 120: 0.161,
}  # fmt: skip
# Tinned up to 6 mm2 from memory.
IEC_60228_TINNED = {
    1.5: 13.7,
    2.5: 8.21,
    4: 5.09,
    6: 3.39,
    10: 1.95,
    16: 1.24,
    25: 0.795,
    35: 0.565,
    50: 0.393,
    70: 0.277,
    95: 0.210,
}
# IEC 60228, factor that reduces a resistance at this temperature (C) to 20 C.
IEC_60228_FACTOR = {5: 1.064, 10: 1.042, 15: 1.020, 25: 0.980, 30: 0.962, 40: 0.926, 50: 0.893, 60: 0.862}


@pytest.mark.parametrize(("gauge", "ohm"), [*NBS_100.items(), *NBS_100_FROM_MEMORY.items()])
def test_solid_copper_by_gauge(gauge: str, ohm: float) -> None:
    computed = solid_ohm(1000 * FOOT_M, Size.parse(f"{gauge} AWG"), Conductor.COPPER, 20.0)
    assert computed == pytest.approx(ohm, rel=0.01)


@pytest.mark.parametrize(("gauge", "inches"), ASTM_B258.items())
def test_diameter_by_gauge(gauge: str, inches: float) -> None:
    millimetres = math.sqrt(4.0 * Size.parse(f"{gauge} AWG").area_mm2 / math.pi)
    assert millimetres / 25.4 == pytest.approx(inches, abs=6e-5)


@pytest.mark.parametrize("text", ["99 AWG", "31 AWG", "0.01 mm2", "2000 mm2"])
def test_a_size_that_no_cable_has_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a cable size"):
        Size.parse(text)


@pytest.mark.parametrize(
    ("conductor", "area", "ohm_per_km"),
    [
        *((Conductor.COPPER, area, ohm) for area, ohm in IEC_60228_PLAIN.items()),
        *((Conductor.TINNED_COPPER, area, ohm) for area, ohm in IEC_60228_TINNED.items()),
    ],
)
def test_the_class_5_maximum_is_a_sound_cables_upper_end(conductor: Conductor, area: float, ohm_per_km: float) -> None:
    size = Size.parse(f"{area} mm2")
    assert flexible_max_ohm(1000.0, size, conductor, 20.0) == pytest.approx(ohm_per_km, rel=0.01)
    mean, spread = healthy_ohm(1000.0, size, conductor, 20.0)
    assert solid_ohm(1000.0, size, conductor, 20.0) < mean < ohm_per_km
    assert mean + 3.0 * spread > ohm_per_km


@pytest.mark.parametrize(("celsius", "factor"), IEC_60228_FACTOR.items())
def test_temperature_correction(celsius: float, factor: float) -> None:
    # The table is rounded to three places, and so is its temperature coefficient.
    assert 1.0 / temperature_factor(Conductor.COPPER, celsius) == pytest.approx(factor, abs=0.0025)


def test_copper_at_20_c() -> None:
    # IEC 60028: 1/58 ohm mm2/m; NBS Handbook 100: 0.00393 per kelvin.
    one = solid_ohm(1.0, Size.parse("1 mm2"), Conductor.COPPER, 20.0)
    assert one == pytest.approx(0.017241, rel=1e-4)
    assert solid_ohm(1.0, Size.parse("1 mm2"), Conductor.COPPER, 21.0) / one == pytest.approx(1.00393)


@pytest.mark.parametrize(
    ("conductor", "times_copper"),
    [
        # From memory: hard-drawn aluminium conducts 61 % as well as annealed copper (IEC 60889).
        (Conductor.ALUMINIUM, 1 / 0.61),
        # From memory: 10 % copper by volume beside such aluminium, in parallel (ASTM B566, class 10A).
        (Conductor.COPPER_CLAD_ALUMINIUM, 1 / (0.1 + 0.9 * 0.61)),
    ],
)
def test_cheaper_metals_lose_more(conductor: Conductor, times_copper: float) -> None:
    size = Size.parse("25 mm2")
    ratio = solid_ohm(1.0, size, conductor, 20.0) / solid_ohm(1.0, size, Conductor.COPPER, 20.0)
    assert ratio == pytest.approx(times_copper, rel=0.01)
