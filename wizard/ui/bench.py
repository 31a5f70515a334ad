"""The simulated vehicle of a demo, as the job screen uses it: a meter to read and eyes and ears to ask."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wizard.circuit.circuit import Circuit
from wizard.lab.scenario import Scenario
from wizard.lab.vehicle import Vehicle
from wizard.ui.target import Target
from wizard.walk.desk import Desk


class Bench:
    """One demo's vehicle, with the repairs done on it so far."""

    def __init__(self, scenario: Scenario, desk: Desk, repairs: Sequence[str], seed: int) -> None:
        self._scenario = scenario
        self._random = np.random.default_rng(seed)
        self.set_back(desk, repairs)

    def set_back(self, desk: Desk, repairs: Sequence[str]) -> None:
        """Have these repairs done on it and no others."""
        self._desk = desk
        self._vehicle = Vehicle(self._scenario, desk.circuit, self._random)
        for repair in repairs:
            self._vehicle.repair(repair)

    def read(self, target: Target, *, same_crank: bool) -> str:
        """What the meter shows, as it would be typed; a cranking reading is a crank of its own unless it is said."""
        if target.state == "cranking" and not same_crank:
            self._vehicle.crank()
        value = self._vehicle.read(target.observable)
        return f"{value:.0f}" if target.clamp else f"{value:.2f}"

    def answer(self, step: str) -> str:
        """The choice that looking or listening gives at a step that asks."""
        self._vehicle.crank()
        return self._vehicle.answer(step, self._desk.flow.steps[step])

    def repair(self, repair: str, circuit: Circuit) -> None:
        """Do a repair on it, which leaves it with this circuit's cables."""
        self._vehicle.refit(circuit)
        self._vehicle.repair(repair)
