"""A simulated vehicle: a meter put on it reads what its hidden faults make of the circuit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.random import Generator

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.network import Observable
from wizard.diagnosis.priors import Meter
from wizard.lab.scenario import BatteryFault, CoilFault, HiddenFault, HiddenVehicle, PartFault, repairs_for
from wizard.walk.flow import EACH_PART, IT_FAILED, NOT_SURE, Step

# Change of the cranking current from crank to crank, one standard deviation. Common practice, no source.
CRANK_CHANGE = 0.04
# Volts at rest of a sound, full 12 V battery. US Army TM 5-3805-262-20.
SOUND_V = 12.6
# A sound part's tolerance stays within so many standard deviations, or it would be a fault.
_TOLERANCE_SPREADS = 2.0
# Steps of the display: volts below the range's end are shown finer.
_FINE_BELOW_V, _FINE_V, _COARSE_V, _CLAMP_A = 4.0, 0.001, 0.01, 1.0
# What a hidden fault does unless the scenario says more: a battery's volts at rest (12 V system) and its
# internal resistance over a sound one's; the rotor's resistance and the current asked for over a sound
# starter's and engine's. Common practice, no source.
_BATTERY = {"discharged": (11.8, 1.6), "worn": (12.5, 3.5)}
_ROTOR_RATIO = {"starter-open": np.inf, "starter-worn": 3.0, "starter-shorted": 0.5}
_DEMAND_RATIO = {"starter-dragging": 2.2, "starter-shorted": 10.0, "engine-dragging": 2.2}


class Vehicle:
    """One hidden vehicle on the bench, with a meter. `crank` holds start anew.

    Readings while cranking belong to the crank that was started last, so they share one current. With `noise`
    off the meter is perfect and every crank draws the same current. `circuit` must be the scenario's own,
    with its changes and its air.
    """

    def __init__(
        self,
        scenario: HiddenVehicle,
        circuit: Circuit,
        chance: Generator,
        *,
        noise: bool = True,
        meter: Meter | None = None,
    ) -> None:
        self.scenario = scenario
        self.circuit = circuit
        self.chance = chance
        self.noise = noise
        self.meter = meter or Meter()
        self._sound_ohm = tolerances(scenario, circuit)
        self._hidden: tuple[HiddenFault, ...] = tuple(scenario.hidden)
        self.crank()

    def crank(self) -> Heard:
        """Hold start anew, and hear what it does."""
        acting_up = bool(self.chance.random() < self.scenario.acting_up)
        condition = health(self.scenario, self.circuit, self._hidden, self._sound_ohm, lambda _: acting_up)
        if self.noise:
            change = 1.0 + CRANK_CHANGE * float(self.chance.standard_normal())
            condition = replace(condition, demand_a=condition.demand_a * change)
        self._condition = condition
        self._heard = operate(self.circuit, condition, [])[1]
        return self._heard

    def heard(self) -> Heard:
        """What the present crank sounds like."""
        return self._heard

    def read(self, what: Observable) -> float:
        """What the meter shows: volts from red to black, or amps through a part.

        Raises KeyError for a point or part that the map does not have.
        """
        true = float(operate(self.circuit, self._condition, [what])[0][0])
        return self._shown(true, clamp=bool(what.clamp)) if self.noise else true

    def answer(self, name: str, step: Step) -> str:
        """The choice that someone with eyes and ears makes at a step that asks."""
        return answer_at(self.scenario, self._hidden, self._heard, name, step)

    def repair(self, name: str) -> None:
        """Do a repair: the hidden faults that it puts right are gone from the next crank on."""
        self._hidden = tuple(fault for fault in self._hidden if name not in repairs_for(fault, self.circuit.map))
        self.crank()

    def refit(self, circuit: Circuit) -> None:
        """Put in what this circuit has; it tells in the next crank."""
        self.circuit = circuit
        self._sound_ohm = tolerances(self.scenario, circuit)

    def _shown(self, true: float, *, clamp: bool) -> float:
        share, least = (
            (self.meter.clamp_share, self.meter.clamp_amps) if clamp else (self.meter.share, self.meter.volts)
        )
        read = true * (1.0 + share * self.chance.standard_normal()) + least * self.chance.standard_normal()
        step = _CLAMP_A if clamp else _FINE_V if abs(read) < _FINE_BELOW_V else _COARSE_V
        return round(round(read / step) * step, 3)


def health(
    told: HiddenVehicle,
    circuit: Circuit,
    hidden: Iterable[HiddenFault],
    sound_ohm: Mapping[str, float],
    acts_up: Callable[[PartFault], bool],
) -> Condition:
    """What the hidden faults that are left come to in one crank; `sound_ohm` are the vehicle's own sound parts."""
    condition = Condition(
        ohm=sound_ohm,
        source_v=told.source_v or SOUND_V * circuit.scale,
        demand_a=told.demand_a or circuit.demand_a[1],
    )
    excess: dict[str, float] = {}
    for fault in hidden:
        match fault:
            case PartFault():
                excess[fault.part] = fault.excess_ohm(acts_up(fault))
            case BatteryFault():
                volts, ratio = _BATTERY[fault.battery]
                condition = replace(
                    condition,
                    source_v=fault.source_v or volts * circuit.scale,
                    battery_ohm=circuit.battery_ohm * (fault.ohm_ratio or ratio),
                )
            case CoilFault():
                condition = replace(condition, coil_works=False)
            case _:
                condition = replace(
                    condition,
                    rotor_ratio=condition.rotor_ratio * _ROTOR_RATIO.get(fault.family, 1.0),
                    demand_a=condition.demand_a * _DEMAND_RATIO.get(fault.family, 1.0),
                )
    return replace(condition, excess_ohm=excess)


def answer_at(told: HiddenVehicle, hidden: Sequence[HiddenFault], heard: Heard, name: str, step: Step) -> str:
    """The choice at a step that asks, of someone who hears this and looks at these hidden faults."""
    if step.field == "symptom":
        return str(heard)
    if name in told.answers:
        return told.answers[name]
    parts = [fault for fault in hidden if isinstance(fault, PartFault)]
    moved = [fault.part for fault in parts if fault.moved_by == "touch"]
    if EACH_PART in step.choices and moved:
        return moved[0]
    if IT_FAILED in step.choices and any(fault.moved_by == "heat" for fault in parts):
        return IT_FAILED
    families = {fault.family for fault in hidden if not isinstance(fault, PartFault)}
    if not step.evidence:
        return NOT_SURE

    if (sound := by_ear(step, heard)) is not None:
        return sound

    def odds(choice: str) -> float:
        table = step.evidence[choice]
        return max((table[family] for family in families if family in table), default=table["otherwise"])

    return max(step.evidence, key=odds)


def by_ear(step: Step, heard: Heard) -> str | None:
    """The choice at a step that asks for what is heard; None at one that asks for something else."""
    if step.field == "symptom":
        return str(heard)
    tables = step.evidence
    if not any(sound in table for table in tables.values() for sound in Heard):
        return None
    return max(tables, key=lambda choice: tables[choice].get(heard, tables[choice]["otherwise"]))


def tolerances(scenario: HiddenVehicle, circuit: Circuit) -> dict[str, float]:
    """This vehicle's own sound resistances in ohm: the same ones for the same seed."""
    if scenario.seed is None:
        return {}
    draws = np.random.default_rng(scenario.seed).standard_normal(len(circuit.parts))
    spreads = np.clip(draws, -_TOLERANCE_SPREADS, _TOLERANCE_SPREADS)
    return {
        name: max(part.ohm + part.spread_ohm * float(spread), 0.1 * part.ohm)
        for (name, part), spread in zip(circuit.parts.items(), spreads, strict=True)
    }
