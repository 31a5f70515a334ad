"""What every span will read after a repair, said before it is done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wizard.circuit.network import Observable
from wizard.diagnosis.bands import mixed_band
from wizard.diagnosis.belief import Belief

# A meter in the bay shows hundredths of a volt and whole amps: a narrower band would be a pretence.
_LEAST_V, _LEAST_A = 0.005, 1.0
# Hypotheses less likely than this, against the likeliest, move no band.
_NEGLIGIBLE = 1e-5


@dataclass(frozen=True)
class Foreseen:
    """One reading after the repair: low, middle and high in volts, or in amps for a clamp."""

    what: Observable
    low: float
    middle: float
    high: float


def predict(belief: Belief, repair: str, observables: Sequence[Observable]) -> list[Foreseen]:
    """Bands that hold nine of ten readings after the repair has cured all that it can, whatever else is at fault.

    The odds of every hypothesis are those of the readings so far; so are the current, the battery and the tolerances.
    Raises ValueError for a repair that the circuit does not have.
    """
    if repair not in belief.model.repairs:
        raise ValueError(f"the circuit has no repair {repair!r}")
    if not observables:
        return []
    rows = np.flatnonzero(belief.weight > _NEGLIGIBLE * belief.weight.max())
    mean, spread = belief.foresee(observables, rows, repaired=repair)
    weight = belief.weight[rows] / belief.weight[rows].sum()
    bands = [mixed_band(mean[:, n], spread[:, n], weight) for n in range(len(observables))]
    foreseen: list[Foreseen] = []
    for what, (low, middle, high) in zip(observables, bands, strict=True):
        least = _LEAST_A if what.clamp else _LEAST_V
        foreseen.append(Foreseen(what, min(low, middle - least), middle, max(high, middle + least)))
    return foreseen
