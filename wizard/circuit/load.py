"""What a starter does to the circuit: its current, and what is heard when start is held.

A starter holds roughly the current that its torque asks for: it is a winding resistance in series with a back-EMF
that grows with speed. Lost volts become lost speed. When no back-EMF is left it stalls and is its winding alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.circuit import Circuit
from wizard.circuit.heard import HEARD, Heard
from wizard.circuit.network import (
    BACK_EMF,
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
# Share of the healthy back-EMF, which is speed, below which an ear calls it slow. Common practice, no source.
SLOW_SHARE = 0.7


@dataclass(frozen=True)
class Added:
    """c circuits that differ from the healthy one by resistance in series in two branches.

    `branch` (c, 2) are branch numbers, `ohm` (c, 2) what is added; `coil_works` (c,) is false where the solenoid's
    coil is broken, which leaves one of the two branches to it: nothing is added there.
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
    follow the motor's current, the battery's source and the two added resistances. `motor_a` (c,) is the motor's
    current and `varying_a` the part of it that varies from crank to crank; `turning` says that the engine sets it;
    `heard` indexes HEARD.
    """

    values: Floats
    per_amp: Floats
    per_volt: Floats
    per_ohm_1: Floats
    per_ohm_2: Floats
    motor_a: Floats
    varying_a: Floats
    turning: Flags
    heard: Ints


class LoadModel:
    """Start held on one circuit: predicts observables for many faulty circuits at once."""

    def __init__(self, circuit: Circuit, ohms: Mapping[str, float] | None = None) -> None:
        self.circuit = circuit
        self.networks = StartHeld.of(circuit, ohms)
        coil = circuit.map.solenoid.coil
        self._own = [Observable("cranking", coil[0], coil[1]), Observable("cranking", clamp=MOTOR)]
        # What an ear goes by: the coil's volts hold the contacts, the back-EMF is the speed.
        self.ear = (self._own[0], BACK_EMF)
        self.index = self.networks.closed.index
        typical = circuit.demand_a[1]
        self._healthy_emf = circuit.system_v * 1.04 - typical * (
            circuit.rotor_ohm + circuit.battery_ohm + sum(circuit.parts[name].ohm for name in circuit.main_loop)
        )

    def answers(self, added: Added, observables: Sequence[Observable], source_v: Floats) -> Answers:
        """Everything about these circuits and observables that the current asked for does not change.

        `source_v` (c,) are the battery's own volts.
        """
        closed, pulling = self.networks.closed, self.networks.pulling
        coil = pulling.respond(pulling.rows(self._own[:1]), added.branch, added.ohm).per_source[:, 0]
        pulled_in = added.coil_works & (coil * source_v >= self.circuit.map.solenoid.pull_in_v)
        quiet = np.flatnonzero(~pulled_in)
        wanted = [*observables, *self._own]
        return Answers(
            source_v,
            closed.respond(closed.rows(wanted), added.branch, added.ohm),
            quiet,
            pulling.respond(pulling.rows(wanted), *self._unclosed(added, quiet)),
        )

    def _unclosed(self, added: Added, quiet: Ints) -> tuple[Ints, Floats]:
        """Branches and added resistance of circuits that never close, a broken coil among them."""
        branch, ohm = added.branch[quiet], added.ohm[quiet]
        if len(broken := np.flatnonzero(~added.coil_works[quiet])):
            free = np.argmin(ohm[broken], axis=1)
            branch[broken, free], ohm[broken, free] = self.index[COIL], OPEN_OHM
        return branch, ohm

    def hold(self, answers: Answers, demand_a: Floats) -> Held:
        """Start held while the engine asks for this current (c,)."""
        closed, pulling, quiet, source_v = answers.closed, answers.pulling, answers.quiet, answers.source_v
        pulled_in = np.ones(len(source_v), dtype=bool)
        pulled_in[quiet] = False
        emf, fall = _back_emf(answers, demand_a)
        turning = pulled_in & (emf > 0.0)
        values = closed.per_source * source_v[:, None]
        values += closed.per_emf * emf[:, None]
        # With the current set by the engine the back-EMF gives way to whatever would change it.
        per_amp = closed.per_emf / fall[:, None]
        pinned = per_amp * turning[:, None]
        per_volt = closed.per_source - pinned * closed.per_source[:, -1:]
        current = closed.source_a * source_v[:, None] + closed.emf_a * emf[:, None]
        per_1 = current[:, :1] * (closed.per_first - pinned * closed.per_first[:, -1:])
        per_2 = current[:, 1:] * (closed.per_second - pinned * closed.per_second[:, -1:])

        heard = np.full(len(source_v), HEARD.index(Heard.ONE_CLICK), dtype=np.intp)
        heard[turning] = HEARD.index(Heard.CRANKS_NORMALLY)
        heard[turning & (emf < SLOW_SHARE * self._healthy_emf)] = HEARD.index(Heard.CRANKS_SLOWLY)
        heard[values[:, -2] < self.circuit.hold_in_v] = HEARD.index(Heard.RAPID_CLICKS)
        if len(quiet):
            volts = source_v[quiet, None]
            values[quiet] = pulling.per_source * volts
            per_amp[quiet] = 0.0
            per_volt[quiet] = pulling.per_source
            current = pulling.source_a * volts
            per_1[quiet] = current[:, :1] * pulling.per_first
            per_2[quiet] = current[:, 1:] * pulling.per_second
            heard[quiet] = HEARD.index(Heard.NO_CLICK)
        motor_a = np.where(pulled_in, values[:, -1], 0.0)
        return Held(
            values[:, :-2],
            per_amp[:, :-2],
            per_volt[:, :-2],
            per_1[:, :-2],
            per_2[:, :-2],
            motor_a,
            # A stalled rotor heats, and its resistance is only a share of what sets its current.
            motor_a * np.where(turning, 1.0, np.minimum(1.0, -fall * self.circuit.rotor_ohm)),
            turning,
            heard,
        )

    def hearing(self, held: Held, mean: Floats, spread: Floats) -> Floats:
        """Odds of each of HEARD (c, 5), where `ear` is only known to lie about `mean` (c, 2) by `spread` (c, 2)."""

        def below(volts: float, which: int) -> Floats:
            return _normal_below((volts - mean[:, which]) / np.maximum(spread[:, which], 1e-9))

        odds = np.zeros((len(mean), len(HEARD)))
        odds[np.arange(len(mean)), held.heard] = 1.0
        rapid = HEARD.index(Heard.RAPID_CLICKS)
        loud = np.flatnonzero(held.heard != HEARD.index(Heard.NO_CLICK))
        lets_go = below(self.circuit.hold_in_v, 0)
        stalls = np.where(held.turning, below(0.0, 1), 1.0)
        slow = np.where(held.turning, below(SLOW_SHARE * self._healthy_emf, 1), 1.0) - stalls
        of = {Heard.CRANKS_NORMALLY: 1.0 - slow - stalls, Heard.CRANKS_SLOWLY: slow, Heard.ONE_CLICK: stalls}
        odds[loud] = 0.0
        odds[loud, rapid] = lets_go[loud]
        for name, share in of.items():
            odds[loud, HEARD.index(name)] = (np.maximum(share, 0.0) * (1.0 - lets_go))[loud]
        return odds

    def per_ohm(self, added: Added, answers: Answers, observables: Sequence[Observable], demand_a: Floats) -> Floats:
        """How observables (m of c circuits) follow one ohm more in each branch (c, m, b), volts or amps per ohm."""
        closed, motor = self.networks.closed, self.index[MOTOR]
        emf, fall = _back_emf(answers, demand_a)
        turning = emf > 0.0
        rows = np.vstack([closed.rows(observables).opposing, closed.opposing_a[motor]])
        through, follows = closed.per_branch(rows, added.branch, added.ohm, answers.closed, answers.source_v, emf)
        pinned = answers.closed.per_emf[:, :-2] * (turning / fall)[:, None]
        per_ohm = follows[:, :-1]
        per_ohm -= pinned[:, :, None] * follows[:, -1:]
        per_ohm *= through[:, None, :]
        if len(quiet := answers.quiet):
            pulling = self.networks.pulling
            through, follows = pulling.per_branch(
                pulling.rows(observables).opposing,
                *self._unclosed(added, quiet),
                answers.pulling,
                answers.source_v[quiet],
                np.zeros(len(quiet)),
            )
            per_ohm[quiet] = follows * through[:, None, :]
        return per_ohm


def _normal_below(deviations: Floats) -> Floats:
    """Share of a normal distribution below so many standard deviations, within 2e-4 (logistic with a cubic term)."""
    return 1.0 / (1.0 + np.exp(-np.clip(1.5976 * deviations + 0.070566 * deviations**3, -60.0, 60.0)))


def _back_emf(answers: Answers, demand_a: Floats) -> tuple[Floats, Floats]:
    """The motor's back-EMF while the contacts are closed (c,), zero when it stalls, and its amps per volt of it."""
    stall_a = answers.closed.per_source[:, -1] * answers.source_v
    fall = np.minimum(answers.closed.per_emf[:, -1], -1e-12)
    return np.maximum(0.0, (demand_a - stall_a) / fall), fall


@dataclass(frozen=True)
class Answers:
    """Responses of c circuits after the main contacts close, and of those (`quiet`) where they never do."""

    source_v: Floats
    closed: Response
    quiet: Ints
    pulling: Response


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
    answers = model.answers(none, cranking, np.array([condition.source_v]))
    held = model.hold(answers, np.array([condition.demand_a]))
    broken = frozenset(name for name, ohm in ohms.items() if ohm >= OPEN_OHM)
    if not condition.coil_works:
        broken |= {COIL}
    resting = iter(rest_volts(circuit, [o for o in observables if o.state != "cranking"], broken) * condition.source_v)
    loaded = iter(held.values[0])
    values = np.array([next(loaded) if what.state == "cranking" else next(resting) for what in observables])
    return values, HEARD[int(held.heard[0])], float(held.motor_a[0])


def rest_volts(circuit: Circuit, observables: Sequence[Observable], broken: frozenset[str] = frozenset()) -> Floats:
    """Readings at rest per volt of the battery (m,): no current flows, so a span reads all of it or nothing."""
    if not observables:
        return np.zeros(0)
    positive, negative = sides_at_rest(circuit, broken)

    def tied(point: str) -> float | None:
        return 1.0 if point in positive else 0.0 if point in negative else None

    values = np.zeros(len(observables))
    for number, what in enumerate(observables):
        if not what.clamp:
            red, black = tied(what.red), tied(what.black)
            values[number] = 0.0 if red is None or black is None else red - black
    return values
