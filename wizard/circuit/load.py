"""What a starter does to the circuit: its current, and what is heard when start is held.

A starter holds roughly the current that its torque asks for: it is a winding resistance in series with a back-EMF
that grows with speed. Lost volts become lost speed. When no back-EMF is left it stalls and is its winding alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.circuit import Circuit
from wizard.circuit.heard import HEARD, Heard
from wizard.circuit.network import (
    BACK_EMF,
    BATTERY,
    COIL,
    EMF,
    FIRST,
    MOTOR,
    OPEN_OHM,
    SECOND,
    SOURCE,
    Altered,
    Floats,
    Ints,
    Observable,
    Rows,
    Shown,
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


# What is followed of an observable: its value, and how that goes with the motor's current, the battery's source and the
# two added resistances.
_VALUE, _AMP, _VOLT, _OHM_1, _OHM_2 = range(5)


@dataclass(frozen=True)
class Answers:
    """Everything about c circuits that the current asked for does not change: after the main contacts close, and for
    those of them (`quiet`) where they never do. `source_v` (c,) are the battery's own volts.
    """

    source_v: Floats
    closed: Altered
    quiet: Ints
    pulling: Altered


@dataclass(frozen=True)
class Held:
    """c circuits with start held.

    `motor_a` (c,) is the motor's current and `varying_a` the part of it that varies from crank to crank; `turning` says
    that the engine sets it; `heard` indexes HEARD. `terms` (5, 4, c), and `quiet_terms` for those of the circuits that
    never close, are what all observables are made from (`Altered.terms`). `branch` and `quiet_branch` are where
    resistance is added.
    """

    branch: Ints
    terms: Floats
    quiet: Ints
    quiet_branch: Ints
    quiet_terms: Floats
    motor_a: Floats
    varying_a: Floats
    turning: Flags
    heard: Ints

    def spread(self, amp: Floats, volt: Floats, ohm: Floats) -> Spread:
        """What these variances of the current (c,), the source (c,) and the resistances (c, 2) come to."""
        deviations = np.sqrt(np.stack([amp, volt, *ohm.T]))[:, None]
        follows, quiet = self.terms[_AMP:] * deviations, self.quiet_terms[_AMP:] * deviations[:, :, self.quiet]
        return Spread(*(np.einsum("qic,qjc->ijc", one, one) for one in (follows, quiet)))

    def values_only(self) -> Held:
        """The same without what readings follow, which takes most of the room."""
        terms, quiet_terms = self.terms[: _VALUE + 1].copy(), self.quiet_terms[: _VALUE + 1].copy()
        return replace(self, terms=terms, quiet_terms=quiet_terms)


class Spread(NamedTuple):
    """Products of terms (4, 4, c), and for circuits that never close (4, 4, quiet): the variance of any observable."""

    closed: Floats
    quiet: Floats


@dataclass(frozen=True)
class Asked:
    """Observables with their answers in both networks."""

    closed: Rows
    pulling: Rows


class Readout:
    """What m observables of c circuits show while start is held, at any current."""

    def __init__(self, asked: Asked, held: Held) -> None:
        self.asked = asked
        self.closed = Shown(asked.closed, held.branch)
        self.pulling = Shown(asked.pulling, held.quiet_branch)

    def _of(self, held: Held, which: int) -> Floats:
        shown = self.closed.of(held.terms[which])
        if len(held.quiet):
            shown[:, held.quiet] = self.pulling.of(held.quiet_terms[which])
        return shown.T

    def values(self, held: Held) -> Floats:
        """Volts or amps (c, m)."""
        return self._of(held, _VALUE)

    def per_amp(self, held: Held) -> Floats:
        """How they follow the motor's current (c, m)."""
        return self._of(held, _AMP)

    def per_volt(self, held: Held) -> Floats:
        """How they follow the battery's source (c, m)."""
        return self._of(held, _VOLT)

    def per_ohm(self, held: Held, which: int) -> Floats:
        """How they follow one of the two added resistances, 0 or 1 (c, m)."""
        return self._of(held, (_OHM_1, _OHM_2)[which])

    def variance(self, held: Held, spread: Spread) -> Floats:
        """Of the values (c, m)."""
        total = self.closed.squares(spread.closed)
        if len(held.quiet):
            total[:, held.quiet] = self.pulling.squares(spread.quiet)
        return total.T


class LoadModel:
    """Start held on one circuit: predicts observables for many faulty circuits at once."""

    def __init__(self, circuit: Circuit, ohms: Mapping[str, float] | None = None) -> None:
        self.circuit = circuit
        self.networks = StartHeld.of(circuit, ohms)
        coil = circuit.map.solenoid.coil
        # What an ear goes by: the coil's volts hold the contacts, the back-EMF is the speed.
        self.ear = (Observable("cranking", coil[0], coil[1]), BACK_EMF)
        self._coil = self.ask(self.ear[:1])
        self._motor = self.ask([Observable("cranking", clamp=MOTOR)])
        self.index = self.networks.closed.index
        typical = circuit.demand_a[1]
        self._healthy_emf = circuit.system_v * 1.04 - typical * (
            circuit.rotor_ohm + circuit.battery_ohm + sum(circuit.parts[name].ohm for name in circuit.main_loop)
        )

    def ask(self, observables: Sequence[Observable]) -> Asked:
        """Observables as `Readout` takes them. Raises KeyError for a point or part that the map does not have."""
        return Asked(self.networks.closed.rows(observables), self.networks.pulling.rows(observables))

    def answers(self, added: Added, source_v: Floats) -> Answers:
        """Circuits as `hold` takes them, with `source_v` (c,) the battery's own volts."""
        coil = Altered(self.networks.pulling, added.branch, added.ohm).answer(self._coil.pulling, SOURCE)[0]
        pulled_in = added.coil_works & (coil * source_v >= self.circuit.map.solenoid.pull_in_v)
        quiet = np.flatnonzero(~pulled_in)
        return Answers(
            source_v,
            Altered(self.networks.closed, added.branch, added.ohm),
            quiet,
            Altered(self.networks.pulling, *self._unclosed(added, quiet)),
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
        closed, quiet, source_v = answers.closed, answers.quiet, answers.source_v
        count = len(source_v)
        pulled_in = np.ones(count, dtype=bool)
        pulled_in[quiet] = False
        motor = Shown(self._motor.closed, closed.branch)
        unit = np.zeros((4, 4, count))
        unit[range(4), range(4)] = 1.0
        per_source, per_emf, per_first, per_second = (motor.of(terms)[0] for terms in closed.terms(unit))
        # Amps of the motor per volt of back-EMF; that is zero when it stalls.
        fall = np.minimum(per_emf, -1e-12)
        emf = np.maximum(0.0, (demand_a - per_source * source_v) / fall)
        turning = pulled_in & (emf > 0.0)
        # With the current set by the engine the back-EMF gives way to whatever would change it.
        gives_way = turning / -fall
        current = closed.through(source_v, emf)
        drives = np.zeros((5, 4, count))
        drives[_VALUE, SOURCE], drives[_VALUE, EMF] = source_v, emf
        drives[_AMP, EMF] = 1.0 / fall
        drives[_VOLT, SOURCE], drives[_VOLT, EMF] = 1.0, gives_way * per_source
        drives[_OHM_1, EMF], drives[_OHM_1, FIRST] = current[0] * gives_way * per_first, current[0]
        drives[_OHM_2, EMF], drives[_OHM_2, SECOND] = current[1] * gives_way * per_second, current[1]
        terms = closed.terms(drives)
        quiet_drives = np.zeros((5, 4, len(quiet)))
        quiet_drives[_VALUE, SOURCE], quiet_drives[_VOLT, SOURCE] = source_v[quiet], 1.0
        quiet_drives[_OHM_1, FIRST], quiet_drives[_OHM_2, SECOND] = answers.pulling.through(
            source_v[quiet], np.zeros(len(quiet))
        )
        motor_a = np.where(pulled_in, per_source * source_v + per_emf * emf, 0.0)

        heard = np.full(count, HEARD.index(Heard.ONE_CLICK), dtype=np.intp)
        heard[turning] = HEARD.index(Heard.CRANKS_NORMALLY)
        heard[turning & (emf < SLOW_SHARE * self._healthy_emf)] = HEARD.index(Heard.CRANKS_SLOWLY)
        coil = Shown(self._coil.closed, closed.branch).of(terms[_VALUE])[0]
        heard[coil < self.circuit.hold_in_v] = HEARD.index(Heard.RAPID_CLICKS)
        heard[quiet] = HEARD.index(Heard.NO_CLICK)
        return Held(
            closed.branch,
            terms,
            quiet,
            answers.pulling.branch,
            answers.pulling.terms(quiet_drives),
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

    def by_branch(self, answers: Answers, held: Held, readout: Readout, spread_ohm: Floats) -> Floats:
        """How observables follow resistance added to each branch: volts or amps for `spread_ohm` (b,) of it (c, m, b).

        `readout` is of these observables and circuits.
        """
        rows, shown = readout.asked.closed, readout.closed
        motor = Shown(self._motor.closed, held.branch)
        through, opposed = answers.closed.per_branch(answers.source_v, held.terms[_VALUE, EMF])
        # What an opposing volt does to the motor's current, which the back-EMF undoes while the engine turns.
        of_motor = motor.first[0][:, None] * opposed[0] + motor.second[0][:, None] * opposed[1]
        of_motor += self._motor.closed.opposing[0]
        undoes = -(readout.per_amp(held) * held.turning[:, None])
        by_branch = np.stack([shown.first.T, shown.second.T, undoes], axis=2) @ np.stack([*opposed, of_motor], axis=1)
        by_branch += rows.opposing
        by_branch *= (through * spread_ohm)[:, None, :]
        if len(quiet := held.quiet):
            rows, shown = readout.asked.pulling, readout.pulling
            through, opposed = answers.pulling.per_branch(answers.source_v[quiet], np.zeros(len(quiet)))
            follows = np.stack([shown.first.T, shown.second.T], axis=2) @ np.swapaxes(opposed, 0, 1)
            follows += rows.opposing
            follows *= (through * spread_ohm)[:, None, :]
            by_branch[quiet] = follows
        return by_branch


def _normal_below(deviations: Floats) -> Floats:
    """Share of a normal distribution below so many standard deviations, within 2e-4 (logistic with a cubic term)."""
    return 1.0 / (1.0 + np.exp(-np.clip(1.5976 * deviations + 0.070566 * deviations**3, -60.0, 60.0)))


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
    held = model.hold(model.answers(none, np.array([condition.source_v])), np.array([condition.demand_a]))
    broken = frozenset(name for name, ohm in ohms.items() if ohm >= OPEN_OHM)
    if not condition.coil_works:
        broken |= {COIL}
    resting = iter(rest_volts(circuit, [o for o in observables if o.state != "cranking"], broken) * condition.source_v)
    loaded = iter(Readout(model.ask(cranking), held).values(held)[0])
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
