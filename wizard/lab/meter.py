"""A hand-held meter: its functions and ranges, how finely each shows, and what it shows when it is used wrongly."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from numpy.random import Generator

from wizard.diagnosis.priors import Meter

Function = Literal["volts", "ohms", "clamp"]
FUNCTIONS: tuple[Function, ...] = ("volts", "ohms", "clamp")
UNIT: dict[Function, str] = {"volts": "V", "ohms": "ohm", "clamp": "A"}
# Over the range: what the display shows in place of figures.
OVER = "OL"
AUTO = "auto"
# Full scale of each range in its unit, and the step of its display: a display of 2000 counts. Common practice.
RANGES: dict[Function, dict[str, tuple[float, float]]] = {
    "volts": {"200 mV": (0.2, 0.0001), "2 V": (2.0, 0.001), "20 V": (20.0, 0.01), "200 V": (200.0, 0.1)},
    "ohms": {"200 ohm": (200.0, 0.1), "2 kohm": (2000.0, 1.0), "20 kohm": (20000.0, 10.0)},
    "clamp": {"200 A": (200.0, 0.1), "2000 A": (2000.0, 1.0)},
}
# Current that the meter sends through what it measures on ohms, and the resistance of its two leads.
TEST_A, LEADS_OHM = 1e-3, 0.2
_OHMS_SHARE = 0.008


@dataclass(frozen=True)
class Setting:
    """What the meter is turned to; `range` is one of the function's ranges or `auto`."""

    function: Function = "volts"
    range: str = AUTO

    def scale(self, value: float) -> tuple[float, float]:
        """Full scale and step that this value is shown with."""
        ranges = RANGES[self.function]
        if self.range != AUTO:
            return ranges[self.range]
        return next((r for r in ranges.values() if abs(value) < r[0]), list(ranges.values())[-1])


def display(setting: Setting, true: float, meter: Meter, chance: Generator | None) -> str:
    """What is shown for a true value in V, ohm or A, with its unit; `OL` over the range.

    The error is drawn from `chance` by the meter's accuracy; without it the meter is exact and only rounds.
    """
    share, least = {
        "volts": (meter.share, meter.volts),
        "ohms": (_OHMS_SHARE, 0.0),
        "clamp": (meter.clamp_share, meter.clamp_amps),
    }[setting.function]
    full, step = setting.scale(true)
    if chance is not None:
        # A finer range is as much more accurate, down to a few steps of its display.
        least = min(least, 5.0 * step)
        true = true * (1.0 + share * chance.standard_normal()) + least * chance.standard_normal()
    if not math.isfinite(true) or abs(true) >= full:
        return OVER
    places = max(0, -math.floor(math.log10(step)))
    shown = f"{round(true / step) * step:.{places}f}"
    if float(shown) == 0:
        shown = shown.lstrip("-")
    return f"{shown} {UNIT[setting.function]}"
