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
    Response,
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
class Added:
    """c circuits that differ from the healthy one by resistance in series in two branches.

    `branch` (c, 2) are branch numbers, `ohm` (c, 2) what is added; `coil_works` (c,) is false where the solenoid
    never closes.
    """

    branch: Ints
    ohm: Floats
    coil_works: Flags

    def __len__(self) -> int:
        return len(self.ohm)

    def take(self, rows: Ints) -> Added:
        """Some of the circuits only."""
        return Added(self.branch[rows], self.ohm[rows], self.coil_works[rows])


@dataclass(frozen=True)
class Held:
    """c circuits with start held, and m observables of each.

    `values` (c, m) are their volts or amps; `per_amp`, `per_volt` and `per_ohm_1`, `per_ohm_2` (c, m) how these
    follow the engine's current, the battery's source and the two added resistances. `motor_a` (c,) is the motor's
    current; `turning` says that the engine sets it; `closed` that the main contacts are closed; `heard` indexes HEARD.
    """

    values: Floats
    per_amp: Floats
    per_volt: Floats
    per_ohm_1: Floats
    per_ohm_2: Floats
    motor_a: Floats
    turning: Flags
    closed: Flags
    heard: Ints


class LoadModel:
    """Start held on one circuit: predicts observables for many faulty circuits at once."""

    def __init__(self, circuit: Circuit, ohms: Mapping[str, float] | None = None) -> None:
        self.circuit = circuit
        self.networks = StartHeld.of(circuit, ohms)
        coil = circuit.map.solenoid.coil
        self._own = [Observable("cranking", coil[0], coil[1]), Observable("cranking", clamp=MOTOR)]
        self.index = self.networks.closed.index
        typical = circuit.demand_a[1]
        self._healthy_emf = circuit.system_v * 1.04 - typical * (
            circuit.rotor_ohm + circuit.battery_ohm + sum(circuit.parts[name].ohm for name in circuit.main_loop)
        )

    def answers(self, added: Added, observables: Sequence[Observable]) -> Answers:
        """Everything about these circuits and observables that current and battery volts do not change."""
        wanted = [*observables, *self._own]
        closed, pulling = self.networks.closed, self.networks.pulling
        return Answers(
            added,
            closed.respond(closed.rows(wanted), added.branch, added.ohm),
            pulling.respond(pulling.rows(wanted), added.branch, added.ohm),
        )

    def hold(self, answers: Answers, source_v: Floats, demand_a: Floats) -> Held:
        """Start held with these battery volts and this current asked for, each (c,)."""
        closed, pulling = answers.closed, answers.pulling
        pulled_in = answers.added.coil_works & (
            pulling.per_source[:, -2] * source_v >= self.circuit.map.solenoid.pull_in_v
        )
        stall_a = closed.per_source[:, -1] * source_v
        fall = np.minimum(closed.per_emf[:, -1], -1e-12)
        emf = np.maximum(0.0, (demand_a - stall_a) / fall)
        turning = pulled_in & (emf > 0.0)
        values = closed.per_source * source_v[:, None] + closed.per_emf * emf[:, None]
        # With the current set by the engine the back-EMF gives way to whatever would change it.
        pinned = np.where(turning, 1.0, 0.0)[:, None] * closed.per_emf / fall[:, None]
        per_volt = closed.per_source - pinned * closed.per_source[:, -1:]
        current = closed.source_a * source_v[:, None] + closed.emf_a * emf[:, None]
        per_1 = current[:, :1] * (closed.per_first - pinned * closed.per_first[:, -1:])
        per_2 = current[:, 1:] * (closed.per_second - pinned * closed.per_second[:, -1:])

        heard = np.full(len(source_v), HEARD.index(Heard.ONE_CLICK), dtype=np.intp)
        heard[turning] = HEARD.index(Heard.CRANKS_NORMALLY)
        heard[turning & (emf < SLOW_SHARE * self._healthy_emf)] = HEARD.index(Heard.CRANKS_SLOWLY)
        heard[values[:, -2] < self.circuit.hold_in_v] = HEARD.index(Heard.RAPID_CLICKS)
        quiet = np.flatnonzero(~pulled_in)
        if len(quiet):
            start, volts = pulling.take(quiet), source_v[quiet, None]
            values[quiet] = start.per_source * volts
            pinned[quiet] = 0.0
            per_volt[quiet] = start.per_source
            current = start.source_a * volts
            per_1[quiet] = current[:, :1] * start.per_first
            per_2[quiet] = current[:, 1:] * start.per_second
            heard[quiet] = HEARD.index(Heard.NO_CLICK)
        return Held(
            values[:, :-2],
            pinned[:, :-2],
            per_volt[:, :-2],
            per_1[:, :-2],
            per_2[:, :-2],
            values[:, -1],
            turning,
            pulled_in,
            heard,
        )


@dataclass(frozen=True)
class Answers:
    """Responses of some circuits, before and after the main contacts close."""

    added: Added
    closed: Response
    pulling: Response

    def take(self, rows: Ints) -> Answers:
        """Some of the circuits only."""
        return Answers(self.added.take(rows), self.closed.take(rows), self.pulling.take(rows))


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
    none = Added(np.full((1, 2), model.index[BATTERY]), np.zeros((1, 2)), np.array([condition.coil_works]))
    answers = model.answers(none, cranking)
    held = model.hold(answers, np.array([condition.source_v]), np.array([condition.demand_a]))
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
