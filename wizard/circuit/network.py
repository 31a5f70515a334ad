"""The circuit as a network of resistances: nodal analysis, and how it answers to resistance added anywhere.

A branch is a part, the battery (its source and internal resistance), the motor or the coil. Resistance added to a
branch acts like a source that opposes its current, so the answers of one solved network to a volt in each branch
give every faulty network without solving it again (the compensation theorem).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.circuit import Circuit

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# The coil is the solenoid's holding winding, and both of its windings until the contacts close; the pulling winding
# ends at the motor's stud, so that it has no volts across it once they do.
BATTERY, MOTOR, COIL, PULLING = "battery", "motor", "coil", "pulling-winding"
# A break in a part: so much resistance that no meter reads a current through it.
OPEN_OHM = 1e4
# The least resistance a branch can have: a bolted joint of heavy copper.
_LEAST_OHM = 1e-7


@dataclass(frozen=True)
class Observable:
    """Something that a meter can read: volts from red to black, or the amps through a part."""

    state: str
    red: str = ""
    black: str = ""
    clamp: str = ""


# The motor's back-EMF, which is its speed: no meter reads it, but an ear goes by it.
BACK_EMF = Observable("cranking", clamp="back-emf")


# What drives a network, in volts: the battery's source, the motor's back-EMF, and a source that opposes the current of
# each of the two branches that have resistance added.
SOURCE, EMF, FIRST, SECOND = range(4)


@dataclass(frozen=True)
class Rows:
    """How m observables answer: per volt of the battery's source (m,), per opposing volt in a branch (m, b), and per
    volt of the motor's back-EMF (m,).
    """

    source: Floats
    opposing: Floats
    emf: Floats


class Altered:
    """c networks, each with `ohm` (c, 2) added in series in two branches `branch` (c, 2) of one that is solved.

    What is added opposes volts: `by` (4, 2, c) are those in either branch per volt of each drive. `amps` (2, 2, c) are
    the currents of both branches per volt of source and of back-EMF.
    """

    def __init__(self, network: Network, branch: Ints, ohm: Floats) -> None:
        self.network = network
        self.branch = np.ascontiguousarray(branch.T)
        self.ohm = np.ascontiguousarray(ohm.T)
        (first, second), (a, b) = self.branch, self.ohm
        opposing, motor = network.opposing_a, network.index[MOTOR]
        to_first, to_second = opposing[first, first], opposing[second, second]
        across, back = opposing[first, second], opposing[second, first]
        # Currents of the two branches from what they would be without the added resistance: this matrix, inverted.
        of_1, of_2, cross_12, cross_21 = 1.0 - to_first * a, 1.0 - to_second * b, across * b, back * a
        self._solved: Floats = np.array([[of_2, cross_12], [cross_21, of_1]])
        self._solved /= of_1 * of_2 - cross_12 * cross_21
        free = np.array(
            [
                [network.source_a[first], network.source_a[second]],
                [opposing[first, motor], opposing[second, motor]],
                [to_first, back],
                [across, to_second],
            ]
        )
        amps = np.empty_like(free)
        for end in (0, 1):
            amps[:, end] = self._solved[end, 0] * free[:, 0]
            amps[:, end] += self._solved[end, 1] * free[:, 1]
        self.amps: Floats = amps[:FIRST]
        self.by: Floats = amps * self.ohm

    def through(self, source_v: Floats, emf: Floats) -> Floats:
        """The currents of both branches (2, c) at this source and back-EMF, each (c,)."""
        return self.amps[SOURCE] * source_v + self.amps[EMF] * emf

    def terms(self, drives: Floats) -> Floats:
        """What drives (..., 4, c) come to with the volts that the added resistance opposes to them."""
        terms = drives.copy()
        terms[..., FIRST:, :] += np.einsum("...dc,dbc->...bc", drives, self.by)
        return terms

    def answer(self, rows: Rows, drive: int) -> Floats:
        """How observables answer to a volt of one drive (m, c)."""
        drives = np.zeros((4, self.ohm.shape[1]))
        drives[drive] = 1.0
        return Shown(rows, self.branch).of(self.terms(drives))

    def per_branch(self, source_v: Floats, emf: Floats) -> tuple[Floats, Floats]:
        """Every branch's current (c, b) at this source and back-EMF, and the volts that the added resistance in both
        branches opposes per opposing volt in it (2, c, b).
        """
        network, (first, second) = self.network, self.branch
        opposing = network.opposing_a
        free = opposing[first], opposing[second]
        opposed = np.empty((2, *free[0].shape))
        for end in (0, 1):
            opposed[end] = (self.ohm[end] * self._solved[end, 0])[:, None] * free[0]
            opposed[end] += (self.ohm[end] * self._solved[end, 1])[:, None] * free[1]
        volts = self.ohm * self.through(source_v, emf)
        current = np.stack([source_v, emf], axis=1) @ np.stack([network.source_a, opposing[:, network.index[MOTOR]]])
        current += volts[0][:, None] * opposing.T[first]
        current += volts[1][:, None] * opposing.T[second]
        return current, opposed


class Shown:
    """What m observables show of c networks that differ in two branches each, from their `terms`."""

    def __init__(self, rows: Rows, branch: Ints) -> None:
        self.rows = rows
        self.first: Floats = np.take(rows.opposing, branch[0], axis=1)
        self.second: Floats = np.take(rows.opposing, branch[1], axis=1)
        self._fixed = np.stack([rows.source, rows.emf], axis=1)

    def of(self, terms: Floats) -> Floats:
        """Their values (m, c) for terms (4, c)."""
        values = self._fixed @ terms[:FIRST]
        values += self.first * terms[FIRST]
        values += self.second * terms[SECOND]
        return values

    def squares(self, square: Floats) -> Floats:
        """The sum of squared values (m, c) for `square` (4, 4, c), the sum of the terms' products."""
        fixed, (source, emf) = self._fixed, self._fixed.T
        second = fixed @ (2.0 * square[SECOND, :FIRST])
        second += self.second * square[SECOND, SECOND]
        second *= self.second
        total = fixed @ (2.0 * square[FIRST, :FIRST])
        total += self.first * square[FIRST, FIRST]
        total += self.second * (2.0 * square[FIRST, SECOND])
        total *= self.first
        total += second
        total += np.stack([source**2, 2.0 * source * emf, emf**2], axis=1) @ np.stack(
            [square[SOURCE, SOURCE], square[SOURCE, EMF], square[EMF, EMF]]
        )
        return total


class Network:
    """One solved network. `ohms` gives resistance by branch; a branch that is left out carries nothing."""

    def __init__(self, circuit: Circuit, ohms: Mapping[str, float]) -> None:
        self.circuit = circuit
        self.branches: tuple[str, ...] = (*circuit.parts, BATTERY, MOTOR, COIL, PULLING)
        self.index = {name: number for number, name in enumerate(self.branches)}
        self.node = {name: number for number, name in enumerate(circuit.points)}
        ends = {name: passive.part.between for name, passive in circuit.parts.items()}
        ends[MOTOR] = (circuit.map.starter.positive, circuit.map.starter.negative)
        ends[COIL] = circuit.map.solenoid.coil
        ends[PULLING] = (circuit.map.solenoid.coil[0], circuit.map.starter.positive)
        incidence = np.zeros((len(self.node), len(self.branches)))
        for name, (first, second) in ends.items():
            incidence[self.node[first], self.index[name]] += 1.0
            incidence[self.node[second], self.index[name]] -= 1.0
        # The battery's branch comes from its own source, whose volts are known: only its far end is a node.
        incidence[self.node[circuit.map.battery.positive], self.index[BATTERY]] = -1.0
        self.conductance = np.array(
            [1.0 / max(ohms[name], _LEAST_OHM) if name in ohms else 0.0 for name in self.branches]
        )
        reference = self.node[circuit.map.battery.negative]
        kept = np.arange(len(self.node)) != reference
        reduced = incidence[kept]
        laplacian = (reduced * self.conductance) @ reduced.T
        # A point that nothing ties down would make the matrix singular; a pico-siemens settles it at 0 V.
        laplacian[np.diag_indices_from(laplacian)] += 1e-12
        impedance = np.zeros((len(self.node), len(self.node)))
        impedance[np.ix_(kept, kept)] = np.linalg.inv(laplacian)
        driven = incidence * self.conductance
        battery = self.index[BATTERY]
        self.source_v: Floats = -impedance @ driven[:, battery]
        self.opposing_v: Floats = impedance @ driven
        is_battery = np.arange(len(self.branches)) == battery
        self.source_a: Floats = self.conductance * (is_battery + incidence.T @ self.source_v)
        self.opposing_a: Floats = self.conductance[:, None] * (
            incidence.T @ self.opposing_v - np.eye(len(self.branches))
        )

    def rows(self, observables: Sequence[Observable]) -> Rows:
        """Answers of each observable. Raises KeyError for a point or part that the map does not have."""
        rows = Rows(
            np.zeros(len(observables)), np.zeros((len(observables), len(self.branches))), np.zeros(len(observables))
        )
        spans = [number for number, what in enumerate(observables) if not what.clamp]
        red = [self.node[observables[number].red] for number in spans]
        black = [self.node[observables[number].black] for number in spans]
        rows.source[spans] = self.source_v[red] - self.source_v[black]
        rows.opposing[spans] = self.opposing_v[red] - self.opposing_v[black]
        for number, what in enumerate(observables):
            if what.clamp and what != BACK_EMF:
                branch = self.index[what.clamp]
                rows.source[number], rows.opposing[number] = self.source_a[branch], self.opposing_a[branch]
        rows.emf[:] = rows.opposing[:, self.index[MOTOR]] + [float(what == BACK_EMF) for what in observables]
        return rows


def healthy_ohms(circuit: Circuit) -> dict[str, float]:
    """Every part's healthy resistance and the battery's and rotor's, without the coil."""
    ohms = {name: passive.ohm for name, passive in circuit.parts.items()}
    return {**ohms, BATTERY: circuit.battery_ohm, MOTOR: circuit.rotor_ohm}


@dataclass(frozen=True)
class StartHeld:
    """The two networks of a held start switch: before the main contacts close, and after."""

    pulling: Network
    closed: Network

    @classmethod
    def of(cls, circuit: Circuit, ohms: Mapping[str, float] | None = None) -> StartHeld:
        """Both networks from resistances by branch; the circuit's healthy ones unless given."""
        ohms = dict(healthy_ohms(circuit) if ohms is None else ohms)
        pulling = {name: ohm for name, ohm in ohms.items() if name != circuit.map.solenoid.contacts}
        return cls(
            Network(circuit, {**pulling, COIL: circuit.pull_in_ohm}),
            Network(circuit, {**ohms, COIL: circuit.hold_in_ohm, PULLING: circuit.pulling_ohm}),
        )


def sides_at_rest(circuit: Circuit, broken: frozenset[str] = frozenset()) -> tuple[frozenset[str], frozenset[str]]:
    """Points tied to the battery's positive and to its negative post while nothing is switched on.

    A point in neither set has no path to the battery: a meter with a lead there reads nothing.
    """
    no_way = circuit.open_at_rest() | broken
    closed = [passive.part.between for name, passive in circuit.parts.items() if name not in no_way]
    if MOTOR not in broken:
        closed.append((circuit.map.starter.positive, circuit.map.starter.negative))
    if COIL not in broken:
        closed.append(circuit.map.solenoid.coil)

    def tied(start: str) -> frozenset[str]:
        seen = {start}
        grew = True
        while grew:
            grew = False
            for first, second in closed:
                if (first in seen) != (second in seen):
                    seen |= {first, second}
                    grew = True
        return frozenset(seen)

    return tied(circuit.map.battery.positive), tied(circuit.map.battery.negative)
