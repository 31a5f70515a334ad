"""Small circuits as discrete Bayesian networks for pgmpy's exact inference, from the same tables as the belief's.

Nodes are the fault, the cell of current, for each reading whether it is wrong and whether it shows what it showed, what
the customer tells and how a question is answered. A reading's table is the density of its value given the readings
before it that are not wrong. Tables are made where the belief puts the severities, and with the odds of what it hears.
"""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import HEARD
from wizard.circuit.map import CircuitMap
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import FIRST, Evidence
from wizard.diagnosis.faults import FaultModel, History, evidence_weight
from wizard.diagnosis.likelihood import TOLD, WRONG_SHOWS_NOTHING
from wizard.diagnosis.prediction import CURRENT_COARSE, CURRENT_FINE, SAME, Chosen
from wizard.diagnosis.priors import Priors

# Volts, or amps, that a shown value stands for: any small width gives the same odds.
_WIDTH = 1e-4
# No more wrong readings than this are allowed for: one among few, two among four or more.
_FEW, _MOST_OF_FEW, _MOST = 4, 1, 2


def small_map(positive: Sequence[str], ground: Sequence[str], side_straps: int = 0) -> CircuitMap:
    """A circuit of these kinds of parts in a row on either side, each named by its kind and a number.

    `side_straps` are more ground straps in parallel, from the starter's case to the points of the ground run in turn.
    """
    points = ["plus", *(f"p{n}" for n in range(1, len(positive))), "feed"]
    backs = ["case", *(f"g{n}" for n in range(1, len(ground))), "minus"]
    parts: dict[str, dict[str, Any]] = {}

    def add(name: str, kind: str, side: str, between: tuple[str, str]) -> None:
        size = {"length_m": 1.2, "size": "25 mm2"} if kind in ("cable", "strap") else {}
        parts[name] = {"label": name, "kind": kind, "side": side, "between": between, "repair": f"mend-{name}", **size}

    for number, kind in enumerate(positive):
        add(f"{kind}-{number}", kind, "positive", (points[number], points[number + 1]))
    add("main-contacts", "contacts", "positive", ("feed", "motor"))
    for number, kind in enumerate(ground):
        add(f"ground-{kind}-{number}", kind, "ground", (backs[number], backs[number + 1]))
    for number in range(side_straps):
        add(f"side-strap-{number}", "strap", "ground", ("case", backs[-1 - number % (len(backs) - 1)]))
    add("start-wire", "cable", "control", ("plus", "trigger"))
    names = dict.fromkeys([*points, "motor", "trigger", *backs])
    return CircuitMap.model_validate(
        {
            "circuit": "small",
            "title": "small",
            "system_v": 12,
            "battery": {"positive": "plus", "negative": "minus", "cca_a": 600},
            "starter": {"positive": "motor", "negative": "case", "cranking_a": [120, 160, 230], "locked_rotor_a": 480},
            "solenoid": {
                "contacts": "main-contacts",
                "coil": ["trigger", "case"],
                "pull_in_a": 40,
                "hold_in_a": 11,
                "pull_in_v": 7.5,
            },
            "points": {name: {"label": name, "probe": "on bare metal", "minutes": 2} for name in names},
            "parts": parts,
            "repairs": {
                f"mend-{name}": {"label": f"mend {name}", "kind": "clean", "minutes": 20, "cost": 5} for name in parts
            },
        }
    )


def small_model(chart: CircuitMap, priors: Priors, families: Sequence[str], *, pairs: bool) -> FaultModel:
    """The faults of a small map: its parts and some families, with pairs of them or without."""
    weights = {name: weight if name in families else 0.0 for name, weight in priors.families.items()}
    shares = {"families": weights, "two_faults": priors.two_faults if pairs else 0.0}
    return FaultModel(Circuit.of(chart), priors.model_copy(update=shares), History())


class Discrete:
    """One model and its evidence as a network of tables. `fault_odds` asks pgmpy for the posterior."""

    def __init__(self, model: FaultModel, evidence: Evidence) -> None:
        self.model, self.evidence = model, evidence
        belief = Belief(model, evidence)
        pairs = model.priors.two_faults > 0
        self.cell = np.concatenate([model.singles.cell, *([model.pairs.cell] if pairs else [])])
        singles, self.faults = len(model.singles), len(self.cell)
        log_prior = np.concatenate([model.singles.log_prior, *([model.pairs.log_prior] if pairs else [])])
        self.prior = np.exp(log_prior) / np.exp(log_prior).sum()
        cells = [*CURRENT_FINE, *(CURRENT_COARSE if pairs else ())]
        self.currents = len(cells)
        fine = np.arange(self.currents) < len(CURRENT_FINE)
        allowed = np.where(np.arange(self.faults)[:, None] < singles, fine, ~fine)
        self.current = allowed * np.array([share for _, _, share in cells])
        self.at = np.flatnonzero(allowed.ravel())
        row, cell = np.divmod(self.at, self.currents)
        self.site = model.cells.site[self.cell[row]]
        middle, width = (np.array([one[part] for one in cells])[cell] for part in (0, 1))
        whole = np.ones(len(row), dtype=bool), np.full(len(row), SAME)
        # Where the belief predicts each hypothesis that it keeps, and what it hears then.
        kept = belief.chosen
        places = {key: n for n, key in enumerate(zip(*self.cell[row].T, middle, width, strict=True))}
        own = [places[key] for key in zip(*kept.cell.T, kept.middle, kept.width, strict=True)]
        step = np.zeros((len(row), 4))
        step[own] = kept.step
        observables = [m.what for m in evidence.measurements]
        chosen = Chosen(self.cell[row], *whole, middle, width, step)
        predicted, held = belief._predictor.predict(observables, FIRST, chosen)
        self.mean, self.hearing = predicted.mean, np.eye(len(HEARD))[held.heard]
        self.hearing[own] = belief._fitted.hearing
        crank = [m.crank if m.crank is not None else -m.number for m in evidence.measurements]
        together = np.equal.outer(crank, crank)
        self.covariance = predicted.covariance(predicted)
        self.covariance += predicted.crank[:, :, None] * predicted.crank[:, None, :] * together
        self.covariance += predicted.own[:, :, None] * np.eye(len(observables))

    def _wrong_density(self, value: float, *, clamp: bool) -> float:
        near, full = (5.0, 1000.0) if clamp else (0.03, 13.5 * self.model.circuit.scale)
        nothing = np.exp(-0.5 * (value / near) ** 2) / (near * np.sqrt(2 * np.pi))
        return float(WRONG_SHOWS_NOTHING * nothing + (1.0 - WRONG_SHOWS_NOTHING) / full)

    def _spread_out(self, odds: np.ndarray) -> np.ndarray:
        """A value per hypothesis as a table over faults and currents; what can't be gets a half."""
        table = np.full(self.faults * self.currents, 0.5)
        table[self.at] = odds
        return table

    def reading_table(self, number: int) -> np.ndarray:
        """Odds that a reading shows its value (faults x currents, 2 for each of the first `number` + 1 being wrong)."""
        values = np.array([m.value for m in self.evidence.measurements], dtype=float)
        columns: list[np.ndarray] = []
        for wrong in itertools.product((False, True), repeat=number + 1):
            if wrong[-1]:
                clamp = bool(self.evidence.measurements[number].what.clamp)
                density = np.full(len(self.mean), self._wrong_density(values[number], clamp=clamp))
            else:
                good = [i for i in range(number) if not wrong[i]]
                mean, variance = self.mean[:, number], self.covariance[:, number, number]
                if good:
                    gain = np.linalg.solve(
                        self.covariance[:, good][:, :, good], self.covariance[:, good, number, None]
                    )[:, :, 0]
                    mean = mean + ((values[good] - self.mean[:, good]) * gain).sum(axis=1)
                    variance = variance - (gain * self.covariance[:, good, number]).sum(axis=1)
                density = np.exp(-0.5 * (values[number] - mean) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
            columns.append(self._spread_out(density * _WIDTH))
        return np.stack(columns, axis=1)

    def network(self) -> tuple[Any, dict[str, int]]:
        """The network and what was observed in it."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from pgmpy.factors.discrete import TabularCPD
            from pgmpy.models import DiscreteBayesianNetwork
        many = len(self.evidence.measurements)
        wrong = self.model.priors.wrong_reading
        names = [f"wrong {n}" for n in range(many)]
        whole, observed = DiscreteBayesianNetwork(), {}
        tables: list[Any] = [TabularCPD("fault", self.faults, self.prior[:, None])]
        tables.append(TabularCPD("current", self.currents, self.current.T, ["fault"], [self.faults]))
        whole.add_nodes_from(["fault", "current", *names])
        whole.add_edge("fault", "current")

        def observe(name: str, odds: np.ndarray, others: Sequence[str] = ()) -> None:
            """A node whose first state was seen: its odds are (faults x currents, 2 for each of the others)."""
            parents = ["fault", "current", *others]
            whole.add_node(name)
            whole.add_edges_from([(parent, name) for parent in parents])
            sizes = [self.faults, self.currents, *(2 for _ in others)]
            tables.append(TabularCPD(name, 2, np.stack([odds.ravel(), 1 - odds.ravel()]), parents, sizes))
            observed[name] = 0

        for name in names:
            tables.append(TabularCPD(name, 2, [[1 - wrong], [wrong]]))
        for number in range(many):
            observe(f"reading {number}", self.reading_table(number), names[: number + 1])
        if self.evidence.symptom is not None:
            observe("told", self._spread_out(self.hearing @ TOLD[:, HEARD.index(self.evidence.symptom)]))
        for number, table in enumerate(self.evidence.tables):
            odds = evidence_weight(self.site, self.model.sites, self.hearing, table)
            observe(f"answer {number}", self._spread_out(odds))
        if many:
            most = _MOST_OF_FEW if many < _FEW else _MOST
            few = np.array([sum(of) <= most for of in itertools.product((0, 1), repeat=many)], dtype=float)
            whole.add_node("few wrong")
            whole.add_edges_from([(name, "few wrong") for name in names])
            tables.append(TabularCPD("few wrong", 2, np.stack([few, 1 - few]), names, [2] * many))
            observed["few wrong"] = 0
        whole.add_cpds(*tables)
        return whole, observed

    def fault_odds(self) -> np.ndarray:
        """Posterior of each fault or pair (n,) by variable elimination."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from pgmpy.inference import VariableElimination
        whole, observed = self.network()
        return VariableElimination(whole).query(["fault"], evidence=observed, show_progress=False).values

    def belief_odds(self, belief: Belief) -> np.ndarray:
        """The belief's own weight of each fault or pair (n,), of those that it keeps."""
        width = len(self.model.cells.site)
        keys = {int(one * width + two): row for row, (one, two) in enumerate(self.cell)}
        rows = [keys[int(one * width + two)] for one, two in belief.chosen.cell]
        return np.bincount(rows, belief.weight, self.faults)
