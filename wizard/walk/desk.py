"""Everything that one job is judged with, loaded and checked."""

from __future__ import annotations

from dataclasses import dataclass

from wizard.circuit.circuit import Circuit
from wizard.circuit.limits import Limits
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
