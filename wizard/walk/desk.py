"""Everything that one job is judged with, loaded and checked."""

from __future__ import annotations

from dataclasses import dataclass, field

from wizard.circuit.circuit import Circuit
from wizard.circuit.limits import Limits
from wizard.diagnosis.faults import FaultModel, History
from wizard.diagnosis.priors import Priors
from wizard.walk.flow import Cautions, Flow


@dataclass(frozen=True)
class Desk:
    """One vehicle's circuit with the flow, limits, cautions and priors that apply to it."""

    circuit: Circuit
    flow: Flow
    limits: Limits
    cautions: Cautions
    priors: Priors
    _models: dict[History, FaultModel] = field(default_factory=dict[History, FaultModel], compare=False, repr=False)

    def fault_model(self, history: History) -> FaultModel:
        """The faults of this circuit under a history; kept, for it is the same all through a job."""
        if history not in self._models:
            self._models[history] = FaultModel(self.circuit, self.priors, history)
        return self._models[history]
