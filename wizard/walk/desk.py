"""Everything that one job is judged with, loaded and checked."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace

from wizard.circuit.circuit import Circuit
from wizard.circuit.limits import Limits
from wizard.circuit.map import PartChange
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import Evidence
from wizard.diagnosis.faults import FaultModel, History
from wizard.diagnosis.priors import Priors
from wizard.walk.flow import Cautions, Flow


@dataclass(frozen=True)
class Desk:
    """One vehicle's circuit with the flow, limits, cautions and priors that apply to it.

    `as_told` is the desk of the vehicle as it came, for one whose cables have been replaced by others since.
    """

    circuit: Circuit
    flow: Flow
    limits: Limits
    cautions: Cautions
    priors: Priors
    as_told: Desk | None = field(default=None, compare=False, repr=False)
    _refits: dict[frozenset[tuple[str, PartChange]], Desk] = field(
        default_factory=dict[frozenset[tuple[str, PartChange]], "Desk"], compare=False, repr=False
    )
    _models: dict[History, FaultModel] = field(default_factory=dict[History, FaultModel], compare=False, repr=False)
    # As the circuit is now, and as it was before each of two repairs.
    _beliefs: deque[Belief] = field(default_factory=lambda: deque[Belief](maxlen=3), compare=False, repr=False)

    def fault_model(self, history: History) -> FaultModel:
        """The faults of this circuit under a history; kept, for it is the same all through a job."""
        if history not in self._models:
            self._models[history] = FaultModel(self.circuit, self.priors, history)
        return self._models[history]

    def belief(self, model: FaultModel, evidence: Evidence) -> Belief:
        """What the evidence leads to; the last few are kept.

        A job asks again with nothing new found out, and for what was believed before its repairs.
        """
        belief = next((b for b in list(self._beliefs) if b.model is model and b.evidence == evidence), None)
        if belief is None:
            belief = Belief(model, evidence)
        with suppress(ValueError):
            self._beliefs.remove(belief)
        self._beliefs.append(belief)
        return belief

    def cautions_to_begin(self, own: Iterable[str]) -> list[str]:
        """A step's own cautions together with those of every reading: what is confirmed once, before the first."""
        places = {str(point.place) for point in self.circuit.map.points.values()}
        names = {*own, *self.cautions.for_deed("resting", "cranking", *places)}
        return [name for name in self.cautions.cautions if name in names]

    def with_fitted(self, fitted: Mapping[str, PartChange]) -> Desk:
        """The desk of the vehicle as it came but for these parts, in place of what was fitted before.

        A new cable is as long as the one that was there and of the map's metal, unless it is said otherwise.
        """
        told = self.as_told or self
        if not fitted:
            return told
        key = frozenset(fitted.items())
        if key not in told._refits:
            changes = told.circuit.changes
            new = {name: _in_place_of(changes.parts.get(name), part) for name, part in fitted.items()}
            changes = changes.model_copy(update={"parts": {**changes.parts, **new}})
            circuit = Circuit.of(told.circuit.map, changes, told.circuit.air_c)
            told._refits[key] = replace(
                told, circuit=circuit, as_told=told, _refits={}, _models={}, _beliefs=deque(maxlen=3)
            )
        return told._refits[key]


def _in_place_of(old: PartChange | None, new: PartChange) -> PartChange:
    if old is None:
        return new
    return new.model_copy(update={"length_m": new.length_m or old.length_m, "size": new.size or old.size})
