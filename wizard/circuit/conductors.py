"""Resistance of cables and straps by size, length, conductor and temperature."""

from __future__ import annotations

from enum import StrEnum
from itertools import pairwise
from math import hypot, log

from wizard.quantities import Size


class Conductor(StrEnum):
    """What the strands are made of."""

    COPPER = "copper"
    TINNED_COPPER = "tinned-copper"
    ALUMINIUM = "aluminium"
    COPPER_CLAD_ALUMINIUM = "copper-clad-aluminium"


# Resistivity at 20 C in ohm mm2/m and its temperature coefficient per kelvin. Copper: IEC 60028 (1/58 and 0.00393).
# Tinned: the same copper; its tin shows in the class 5 table. Aluminium: IEC 60889, hard-drawn wire. Copper-clad
# aluminium: ASTM B566, class 10A (10 % copper by volume). The last two are from memory.
_RESISTIVITY: dict[Conductor, tuple[float, float]] = {
    Conductor.COPPER: (1.0 / 58.0, 0.00393),
    Conductor.TINNED_COPPER: (1.0 / 58.0, 0.00393),
    Conductor.ALUMINIUM: (0.028264, 0.00403),
    Conductor.COPPER_CLAD_ALUMINIUM: (0.026760, 0.00397),
}

# IEC 60228 class 5 (flexible) conductors: highest resistance allowed at 20 C, ohm/km, by nominal area in mm2.
_CLASS_5_PLAIN: dict[float, float] = {
    1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21, 25.0: 0.780,
    35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161,
}  # fmt: skip
# Up to 6 mm2 from memory.
_CLASS_5_TINNED: dict[float, float] = {
    1.5: 13.7, 2.5: 8.21, 4.0: 5.09, 6.0: 3.39, 10.0: 1.95, 16.0: 1.24, 25.0: 0.795,
    35.0: 0.565, 50.0: 0.393, 70.0: 0.277, 95.0: 0.210,
}  # fmt: skip


def temperature_factor(conductor: Conductor, celsius: float) -> float:
    """Resistance at this temperature over resistance at 20 C (IEC 60028: linear in temperature)."""
    return 1.0 + _RESISTIVITY[conductor][1] * (celsius - 20.0)


def solid_ohm(length_m: float, size: Size, conductor: Conductor, celsius: float) -> float:
    """Resistance of solid metal of the size's full area: R = rho(T) L / A. The healthy lower end."""
    rho = _RESISTIVITY[conductor][0] * temperature_factor(conductor, celsius)
    return rho * length_m / size.area_mm2


def flexible_max_ohm(length_m: float, size: Size, conductor: Conductor, celsius: float) -> float:
    """Highest resistance of a sound flexible cable: the class 5 maximum, between sizes by the ratio to solid.

    Metals that IEC 60228 class 5 does not list take plain copper's ratio to solid metal of their own.
    """
    table = _CLASS_5_TINNED if conductor is Conductor.TINNED_COPPER else _CLASS_5_PLAIN
    ratio = _between(
        [(log(area), ohm_per_km * area / 1000.0 * 58.0) for area, ohm_per_km in table.items()], log(size.area_mm2)
    )
    return solid_ohm(length_m, size, conductor, celsius) * ratio


def healthy_ohm(length_m: float, size: Size, conductor: Conductor, celsius: float) -> tuple[float, float]:
    """Mean and standard deviation of a sound cable's resistance.

    Between solid metal and the class 5 maximum lies the whole range of sound cables, taken as four standard
    deviations; 2 % more for its crimped ends and for a length that was measured with a tape.
    """
    low = solid_ohm(length_m, size, conductor, celsius)
    high = flexible_max_ohm(length_m, size, conductor, celsius)
    mean = (low + high) / 2.0
    return mean, hypot((high - low) / 4.0, 0.02 * mean)


def _between(points: list[tuple[float, float]], x: float) -> float:
    """The line through these points, ordered by x, at x; level beyond both ends."""
    x = min(max(x, points[0][0]), points[-1][0])
    (x0, y0), (x1, y1) = next(pair for pair in pairwise(points) if x <= pair[1][0])
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
