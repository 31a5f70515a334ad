"""What a starter does to the circuit: its current, and what is heard when start is held.

A starter holds roughly the current that its torque asks for: it is a winding resistance in series with a back-EMF
that grows with speed. Lost volts become lost speed. When no back-EMF is left it stalls and is its winding alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.circuit import Circuit
from wizard.circuit.network import (
    BATTERY,
    COIL,
    MOTOR,
    OPEN_OHM,
    Floats,
    Ints,
    Observable,
    Rows,
    StartHeld,
    healthy_ohms,
    sides_at_rest,
)

Flags = NDArray[np.bool_]


class Heard(StrEnum):
    """What the starter does while start is held, in the words of the complaint."""

    CRANKS_NORMALLY = "cranks-normally"
    CRANKS_SLOWLY = "cranks-slowly"
    ONE_CLICK = "one-click"
    RAPID_CLICKS = "rapid-clicks"
    NO_CLICK = "no-click"


HEARD: tuple[Heard, ...] = tuple(Heard)
# Share of the healthy back-EMF, which is speed, below which an ear calls it slow. Common practice, no source.
SLOW_SHARE = 0.7


@dataclass(frozen=True)
class Faulty:
    """c circuits that differ from the healthy one; arrays of length c unless said.

    `branch` and `added_ohm` are (c, 2): resistance in series in two branches. `source_v` is the battery's own volts,
    `demand_a` the current that the engine asks for, `coil_works` false where the solenoid never closes.
    """

    branch: Ints
    added_ohm: Floats
    source_v: Floats
    demand_a: Floats
    coil_works: Flags

    def __len__(self) -> int:
        return len(self.source_v)


@dataclass(frozen=True)
class Held:
    """c circuits with start held. `per_amp` and `per_volt` (c, m) are how observables follow current and source."""

    values: Floats
    per_amp: Floats
    per_volt: Floats
    motor_a: Floats
    turning: Flags
    heard: Ints


class LoadModel:
    """Start held on one circuit: predicts observables for many faulty circuits at once."""

    def __init__(self, circuit: Circuit, ohms: Mapping[str, float] | None = None) -> None:
        self.circuit = circuit
        self.networks = StartHeld.of(circuit, ohms)
        coil = circuit.map.solenoid.coil
        self._own = [Observable("cranking", coil[0], coil[1]), Observable("cranking", clamp=MOTOR)]
        self._own_closed = self.networks.closed.rows(self._own)
        self._own_pulling = self.networks.pulling.rows(self._own)
        self.index = self.networks.closed.index
        typical = circuit.demand_a[1]
        self._healthy_emf = circuit.system_v * 1.04 - typical * (
            circuit.rotor_ohm + circuit.battery_ohm + sum(circuit.parts[name].ohm for name in circuit.main_loop)
        )

    def hold(self, faulty: Faulty, observables: Sequence[Observable]) -> Held:
        """Volts and amps of each observable in each circuit, and what is heard."""
        pulling, closed = self.networks.pulling, self.networks.closed
        source = faulty.source_v
        coil_pulling = pulling.respond(self._own_pulling, faulty.branch, faulty.added_ohm)[0][:, 0] * source
        pulled_in = faulty.coil_works & (coil_pulling >= self.circuit.map.solenoid.pull_in_v)

        rows = closed.rows(observables)
        both = Rows(
            np.concatenate([rows.source, self._own_closed.source]),
            np.concatenate([rows.opposing, self._own_closed.opposing]),
        )
        per_source, per_emf = closed.respond(both, faulty.branch, faulty.added_ohm)
        stall_a = per_source[:, -1] * source
        fall = np.minimum(per_emf[:, -1], -1e-12)
        emf = np.maximum(0.0, (faulty.demand_a - stall_a) / fall)
        turning = pulled_in & (emf > 0.0)
        all_values = per_source * source[:, None] + per_emf * emf[:, None]
        ratio = per_emf / fall[:, None]
        per_amp = np.where(turning[:, None], ratio, 0.0)
        per_volt = per_source - np.where(turning[:, None], ratio * per_source[:, -1:], 0.0)

        quiet = ~pulled_in
        if quiet.any():
            before = pulling.rows(observables)
            start = pulling.respond(before, faulty.branch[quiet], faulty.added_ohm[quiet])[0]
            m = len(observables)
            all_values[quiet, :m] = start * source[quiet, None]
            all_values[quiet, m:] = 0.0
            per_volt[quiet, :m] = start
        heard = np.full(len(faulty), HEARD.index(Heard.ONE_CLICK), dtype=np.intp)
        heard[turning] = HEARD.index(Heard.CRANKS_NORMALLY)
        heard[turning & (emf < SLOW_SHARE * self._healthy_emf)] = HEARD.index(Heard.CRANKS_SLOWLY)
        heard[pulled_in & (all_values[:, -2] < self.circuit.hold_in_v)] = HEARD.index(Heard.RAPID_CLICKS)
        heard[quiet] = HEARD.index(Heard.NO_CLICK)
        return Held(
            all_values[:, :-2],
            per_amp[:, :-2],
            per_volt[:, :-2],
            np.where(pulled_in, all_values[:, -1], 0.0),
            turning,
            heard,
        )


@dataclass(frozen=True)
class Condition:
    """One real vehicle's state of health: what differs from the map's healthy means.

    `excess_ohm` is added by part; `np.inf` is a break. `ohm` replaces healthy resistances by part (its tolerance).
    `rotor_ratio` multiplies the rotor's resistance (worn brushes above 1, a shorted winding below).
    """

    excess_ohm: Mapping[str, float] = field(default_factory=dict[str, float])
    ohm: Mapping[str, float] = field(default_factory=dict[str, float])
    source_v: float = 12.6
    battery_ohm: float | None = None
    demand_a: float = 170.0
    rotor_ratio: float = 1.0
    coil_works: bool = True


def operate(circuit: Circuit, condition: Condition, observables: Sequence[Observable]) -> tuple[Floats, Heard, float]:
    """True readings (m,) of one vehicle, in each observable's own state, with what is heard and the motor's amps."""
    ohms = healthy_ohms(circuit)
    ohms.update(condition.ohm)
    for name, excess in condition.excess_ohm.items():
        ohms[name] += min(excess, OPEN_OHM)
    ohms[BATTERY] = circuit.battery_ohm if condition.battery_ohm is None else condition.battery_ohm
    ohms[MOTOR] = min(ohms[MOTOR] * condition.rotor_ratio, OPEN_OHM)
    model = LoadModel(circuit, ohms)
    cranking = [what for what in observables if what.state == "cranking"]
    one = Faulty(
        np.full((1, 2), model.index[BATTERY]),
        np.zeros((1, 2)),
        np.array([condition.source_v]),
        np.array([condition.demand_a]),
        np.array([condition.coil_works]),
    )
    held = model.hold(one, cranking)
    broken = frozenset(name for name, ohm in ohms.items() if ohm >= OPEN_OHM)
    if not condition.coil_works:
        broken |= {COIL}
    resting = iter(rest_volts(circuit, [o for o in observables if o.state != "cranking"], broken) * condition.source_v)
    loaded = iter(held.values[0])
    values = np.array([next(loaded) if what.state == "cranking" else next(resting) for what in observables])
    return values, HEARD[int(held.heard[0])], float(held.motor_a[0])


def rest_volts(circuit: Circuit, observables: Sequence[Observable], broken: frozenset[str] = frozenset()) -> Floats:
    """Readings at rest per volt of the battery (m,): no current flows, so a span reads all of it or nothing."""
    positive, negative = sides_at_rest(circuit, broken)

    def tied(point: str) -> float | None:
        return 1.0 if point in positive else 0.0 if point in negative else None

    values = np.zeros(len(observables))
    for number, what in enumerate(observables):
        if not what.clamp:
            red, black = tied(what.red), tied(what.black)
            values[number] = 0.0 if red is None or black is None else red - black
    return values
