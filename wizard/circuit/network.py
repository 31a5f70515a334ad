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

BATTERY, MOTOR, COIL = "battery", "motor", "coil"
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


@dataclass(frozen=True)
class Rows:
    """How m observables answer: per volt of the battery's source (m,), per opposing volt in a branch (m, b), and per
    volt of the back-EMF beside what that does in the motor's branch (m,).
    """

    source: Floats
    opposing: Floats
    emf: Floats


@dataclass(frozen=True)
class Response:
    """How m observables of c networks answer, each (c, m): per volt of the battery's source, per opposing volt of
    the motor's back-EMF, and per opposing volt in each of the two branches that have resistance added.

    `source_a` and `emf_a` (c, 2) are those two branches' currents, per volt of source and of back-EMF.
    """

    per_source: Floats
    per_emf: Floats
    per_first: Floats
    per_second: Floats
    source_a: Floats
    emf_a: Floats

    def take(self, rows: Ints) -> Response:
        """The same for some of the networks only."""
        return Response(
            self.per_source[rows],
            self.per_emf[rows],
            self.per_first[rows],
            self.per_second[rows],
            self.source_a[rows],
            self.emf_a[rows],
        )


class Network:
    """One solved network. `ohms` gives resistance by branch; a branch that is left out carries nothing."""

    def __init__(self, circuit: Circuit, ohms: Mapping[str, float]) -> None:
        self.circuit = circuit
        self.branches: tuple[str, ...] = (*circuit.parts, BATTERY, MOTOR, COIL)
        self.index = {name: number for number, name in enumerate(self.branches)}
        self.node = {name: number for number, name in enumerate(circuit.points)}
        ends = {name: passive.part.between for name, passive in circuit.parts.items()}
        ends[MOTOR] = (circuit.map.starter.positive, circuit.map.starter.negative)
        ends[COIL] = circuit.map.solenoid.coil
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
        source, emf = np.zeros(len(observables)), np.zeros(len(observables))
        opposing = np.zeros((len(observables), len(self.branches)))
        for number, what in enumerate(observables):
            if what == BACK_EMF:
                emf[number] = 1.0
            elif what.clamp:
                branch = self.index[what.clamp]
                source[number] = self.source_a[branch]
                opposing[number] = self.opposing_a[branch]
            else:
                red, black = self.node[what.red], self.node[what.black]
                source[number] = self.source_v[red] - self.source_v[black]
                opposing[number] = self.opposing_v[red] - self.opposing_v[black]
        return Rows(source, opposing, emf)

    def respond(self, rows: Rows, branch: Ints, added: Floats) -> Response:
        """Observables of c networks, each with `added` ohms (c, 2) in series in two branches `branch` (c, 2)."""
        motor = self.index[MOTOR]
        first, second = branch[:, 0], branch[:, 1]
        a, b = added[:, 0], added[:, 1]
        of_1 = 1.0 - self.opposing_a[first, first] * a
        of_2 = 1.0 - self.opposing_a[second, second] * b
        cross_12 = self.opposing_a[first, second] * b
        cross_21 = self.opposing_a[second, first] * a
        determinant = of_1 * of_2 - cross_12 * cross_21
        by_first, by_second = rows.opposing.T[first], rows.opposing.T[second]

        def currents(free_1: Floats, free_2: Floats) -> tuple[Floats, Floats]:
            """Of the two branches, from what they would be without the added resistance."""
            return (of_2 * free_1 + cross_12 * free_2) / determinant, (cross_21 * free_1 + of_1 * free_2) / determinant

        def answer(amps: tuple[Floats, Floats], base: Floats) -> Floats:
            values = by_first * (a * amps[0])[:, None]
            values += by_second * (b * amps[1])[:, None]
            values += base
            return values

        by_source = currents(self.source_a[first], self.source_a[second])
        by_emf = currents(self.opposing_a[first, motor], self.opposing_a[second, motor])
        by_1 = currents(self.opposing_a[first, first], self.opposing_a[second, first])
        by_2 = currents(self.opposing_a[first, second], self.opposing_a[second, second])
        return Response(
            answer(by_source, rows.source),
            answer(by_emf, rows.opposing[:, motor] + rows.emf),
            answer(by_1, by_first),
            answer(by_2, by_second),
            np.stack(by_source, axis=1),
            np.stack(by_emf, axis=1),
        )

    def per_branch(
        self, rows: Floats, branch: Ints, added: Floats, response: Response, source_v: Floats, emf: Floats
    ) -> tuple[Floats, Floats]:
        """Every branch's current (c, b) in networks changed as in `respond`, at this source and back-EMF, and what
        rows of opposing volts (m, b) become in them (c, m, b).
        """
        motor = self.index[MOTOR]
        first, second = branch[:, 0], branch[:, 1]
        a, b = added[:, :1], added[:, 1:]
        to_first, to_second = self.opposing_a[first], self.opposing_a[second]
        each = np.arange(len(branch))
        of_1, of_2 = 1.0 - to_first[each, first, None] * a, 1.0 - to_second[each, second, None] * b
        cross_12, cross_21 = to_first[each, second, None] * b, to_second[each, first, None] * a
        determinant = of_1 * of_2 - cross_12 * cross_21
        volts_1 = a * (of_2 * to_first + cross_12 * to_second) / determinant
        volts_2 = b * (cross_21 * to_first + of_1 * to_second) / determinant
        follows = volts_1[:, None, :] * rows.T[first][:, :, None]
        follows += volts_2[:, None, :] * rows.T[second][:, :, None]
        follows += rows
        current = response.source_a * source_v[:, None] + response.emf_a * emf[:, None]
        through = np.outer(source_v, self.source_a) + np.outer(emf, self.opposing_a[:, motor])
        through += a * current[:, :1] * self.opposing_a.T[first] + b * current[:, 1:] * self.opposing_a.T[second]
        return through, follows


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
            Network(circuit, {**ohms, COIL: circuit.hold_in_ohm}),
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
