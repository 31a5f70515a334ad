"""Everything that the model holds possible before any reading, as plain arrays to draw from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wizard.diagnosis.faults import FaultModel
from wizard.diagnosis.prediction import SOURCE_V

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Rows:
    """Every hypothesis, `singles` of them (the healthy circuit last) before the pairs, with its odds (n,).

    `site` (n, 2) is -1 for none; `repair` (n, 2) indexes the model's repairs, the costlier fault's first; the battery's
    own volts, its spread, and how many times the engine's current is asked for are (n,), the added ohms (n, 2).
    """

    site: NDArray[np.intp]
    branch: NDArray[np.intp]
    added: Floats
    spread: Floats
    source_v: Floats
    source_spread: Floats
    demand: Floats
    coil_works: NDArray[np.bool_]
    own_repair: NDArray[np.intp]
    repair: NDArray[np.intp]
    prior: Floats
    singles: int

    @classmethod
    def of(cls, model: FaultModel) -> Rows:
        cells, none, scale = model.cells, len(model.repairs) - 1, model.circuit.scale
        cell = np.concatenate([model.singles.cell, model.pairs.cell])
        prior = np.exp(np.concatenate([model.singles.log_prior, model.pairs.log_prior]))
        repair = cells.repair[cell]
        volts = np.where(repair == none, -1.0, cells.by_volts[cell])
        in_order = np.where((volts[:, 0] >= volts[:, 1])[:, None], repair, repair[:, ::-1])
        return cls(
            cells.site[cell],
            cells.branch[cell],
            cells.added_ohm[cell],
            cells.spread_ohm[cell],
            SOURCE_V * scale * cells.source_share[cell].prod(axis=1),
            scale * cells.source_spread[cell].min(axis=1),
            cells.demand[cell].max(axis=1),
            cells.coil_works[cell].all(axis=1),
            repair,
            in_order,
            prior / prior.sum(),
            len(model.singles),
        )
