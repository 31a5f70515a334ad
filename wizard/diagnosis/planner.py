"""The next test: which reading, anywhere within reach, tells most about the repair for the minutes it takes."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Side
from wizard.circuit.network import Floats, Observable
from wizard.diagnosis.belief import Belief

# Minutes beside reaching the points: holding start and letting the starter rest, or reading the meter at rest; and
# hanging a clamp around a cable. Common practice, no source.
CRANK_MINUTES, REST_MINUTES, CLAMP_MINUTES = 1.0, 0.3, 1.5
# How many of the likeliest hypotheses a test is weighed on, and in how many bins its outcome is sorted.
_WEIGHED, _BINS = 220, 22
# Volts, and amps, below which outcomes are told apart evenly, above it by their ratio.
_KNEE_V, _KNEE_A = 0.03, 30.0
# Odds of either sign above which a span is left alone.
_EITHER_WAY = 0.02
# With more points than this on one side, spans start or end at a point that matters already.
_ALL_PAIRS = 14


@dataclass(frozen=True)
class Question:
    """A question whose answer is evidence: its step, its minutes, and the families' likelihoods by choice."""

    step: str
    minutes: float
    tables: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Prospect:
    """A test with what it promises. Either `what` is read, or the question of `step` is answered."""

    minutes: float
    bits: float
    what: Observable | None = None
    step: str | None = None

    @property
    def bits_per_minute(self) -> float:
        return self.bits / self.minutes


@dataclass(frozen=True)
class Reach:
    """Where the leads are now, what they can't reach, and whether there is a clamp meter."""

    leads: frozenset[str] = frozenset()
    out_of_reach: frozenset[str] = frozenset()
    clamp_meter: bool = True


def minutes_for(circuit: Circuit, what: Observable, reach: Reach) -> float:
    """Minutes of one reading: reaching each point where no lead is yet, then the crank or the rest."""
    points = circuit.map.points
    if what.clamp:
        first, second = circuit.parts[what.clamp].part.between
        return min(points[first].minutes, points[second].minutes) + CLAMP_MINUTES + CRANK_MINUTES
    walked = sum(points[point].minutes for point in (what.red, what.black) if point not in reach.leads)
    return walked + (CRANK_MINUTES if what.state == "cranking" else REST_MINUTES)


def candidates(circuit: Circuit, reach: Reach, known: frozenset[str] = frozenset()) -> list[Observable]:
    """Every reading that could be taken, red where the current comes from. `known` are points probed before."""
    role = circuit.roles
    sides: dict[Side, dict[str, None]] = {side: {} for side in Side}
    for passive in circuit.parts.values():
        sides[passive.part.side].update(dict.fromkeys(passive.part.between))
    anchors = known | {point for run in circuit.runs.values() for point in run}
    spans: dict[tuple[str, str], None] = {}
    for points in sides.values():
        for red, black in itertools.combinations(points, 2):
            near = len(points) <= _ALL_PAIRS or red in anchors or black in anchors
            if near or any({red, black} == set(p.part.between) for p in circuit.parts.values()):
                spans[(red, black)] = None
    special = [
        (role["battery.positive"], role["battery.negative"]),
        (role["starter.motor"], role["starter.case"]),
        circuit.map.solenoid.coil,
    ]
    found = [
        Observable("cranking", red, black)
        for red, black in [*spans, *special]
        if red not in reach.out_of_reach and black not in reach.out_of_reach
    ]
    posts = special[0]
    if not reach.out_of_reach & set(posts):
        found.append(Observable("resting", *posts))
    if reach.clamp_meter:
        cables = [n for n in circuit.main_loop if circuit.parts[n].part.kind == "cable"]
        points = circuit.map.points
        cables.sort(key=lambda n: min(points[end].minutes for end in circuit.parts[n].part.between))
        found += [
            Observable("cranking", clamp=name)
            for name in cables[:1]
            if not reach.out_of_reach >= set(circuit.parts[name].part.between)
        ]
    return found


def prospects(
    belief: Belief, tests: Sequence[Observable], questions: Sequence[Question], reach: Reach
) -> list[Prospect]:
    """All tests and questions, the most telling for its minutes first."""
    circuit = belief.model.circuit
    rows = np.argsort(belief.weight)[::-1][:_WEIGHED]
    weight = belief.weight[rows] / belief.weight[rows].sum()
    repairs = np.eye(len(belief.model.repairs))[belief.first_repair[rows]]
    mass = weight[:, None] * repairs
    out: list[Prospect] = []
    if tests:
        mean, spread = belief.foresee(tests, rows)
        knee = np.array([_KNEE_A if t.clamp else _KNEE_V for t in tests])
        # A reading that may come out either way round is one that a technician can't check for swapped leads.
        either_way = (weight @ (mean > knee) > _EITHER_WAY) & (weight @ (mean < -knee) > _EITHER_WAY)
        wrong_way = weight @ mean < 0
        mean[:, wrong_way] *= -1
        turned = [
            Observable(t.state, t.black, t.red, t.clamp) if turn and not t.clamp else t
            for t, turn in zip(tests, wrong_way, strict=True)
        ]
        bits = _bits(mean, spread, mass, knee, belief.model.priors.wrong_reading)
        out += [
            Prospect(minutes_for(circuit, what, reach), float(worth), what=what)
            for what, worth, unclear in zip(turned, bits, either_way, strict=True)
            if not unclear
        ]
    for question in questions:
        chance = np.stack([belief.answer_weight(table)[rows] for table in question.tables.values()])
        joint = np.einsum("ck,kr->cr", chance / chance.sum(axis=0), mass)
        out.append(Prospect(question.minutes, _information(joint[:, None, :])[0], step=question.step))
    return sorted(out, key=lambda p: -p.bits_per_minute)


def _bits(mean: Floats, spread: Floats, mass: Floats, knee: Floats, wrong: float) -> Floats:
    """Expected information about the repair, in bits, of each test (m,), its outcome sorted into bins."""
    position = np.arcsinh(mean / knee)
    width = spread / np.hypot(mean, knee)
    low, high = (position - 2 * width).min(axis=0), (position + 2 * width).max(axis=0)
    steps = np.linspace(0.0, 1.0, _BINS - 1)[:, None]
    edges = low + (high - low) * steps
    below = 1.0 / (1.0 + np.exp(np.clip(-1.702 * (edges[:, None, :] - position) / width, -60.0, 60.0)))
    ends = np.zeros((1, *position.shape))
    share = np.diff(np.concatenate([ends, below, ends + 1.0]), axis=0)
    share = (1.0 - wrong) * share + wrong / _BINS
    return _information(np.einsum("bkm,kr->bmr", share, mass, optimize=True))


def _information(joint: Floats) -> Floats:
    """Mutual information in bits of outcome and repair, from their joint odds (outcomes, m, repairs)."""

    def entropy(odds: Floats) -> Floats:
        return -(odds * np.log2(np.maximum(odds, 1e-300))).sum(axis=(0, 2))

    total = joint.sum(axis=(0, 2), keepdims=True)
    joint = joint / total
    return entropy(joint.sum(axis=2, keepdims=True)) + entropy(joint.sum(axis=0, keepdims=True)) - entropy(joint)
