"""The band that holds nine of ten readings, where hypotheses disagree about them."""

from __future__ import annotations

from math import erf, sqrt

import numpy as np

from wizard.circuit.network import Floats

BAND = 0.90
_ERF = np.vectorize(erf, otypes=[np.float64])


def mixed_band(mean: Floats, spread: Floats, weight: Floats) -> tuple[float, float, float]:
    """Low, middle and high of a mixture of Gaussians, all (k,) with weights that sum to 1, by halving."""

    def below(value: float) -> float:
        return float(weight @ (0.5 * (1.0 + _ERF((value - mean) / (sqrt(2.0) * spread)))))

    def at(share: float) -> float:
        low, high = float((mean - 6.0 * spread).min()), float((mean + 6.0 * spread).max())
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if below(middle) < share else (low, middle)
        return 0.5 * (low + high)

    return at(0.5 - BAND / 2), at(0.5), at(0.5 + BAND / 2)
