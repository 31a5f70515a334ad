"""The next test: which reading, anywhere within reach, tells most about the repair for the minutes it takes."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Side
from wizard.circuit.network import Floats, Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import DOUBTED
from wizard.diagnosis.faults import site_span

# Minutes beside reaching the points: of a crank one to set up and hold start and two for the starter to rest (the rest
# by US Army TM 10-3930-671-24), or reading the meter at rest; and hanging a clamp around a cable. The others are common
# practice, no source.
CRANK_MINUTES, REST_MINUTES, CLAMP_MINUTES = 3.0, 0.3, 1.5
# Minutes to open something up for a look; how often it shows a fault that is there, and one that is not. Common
# practice, no source.
LOOK_MINUTES, _LOOK_SHOWS, _LOOK_MISLEADS = 6.0, 0.7, 0.08
# Minutes to measure again after a repair; and the odds below which no repair is tried on its odds.
PROOF_MINUTES, _UNTRIED = 5.0, 0.01
# What a bit about the repair is worth at least, in minutes of the tests that it saves: of 2 to 8, the one that loses
# least against the exact best on small maps (`python -m tests.benchmarks.planning`).
_MINUTES_PER_BIT = 6.0
# Sites less likely than this don't count for what it takes to show them; readings more likely wrong show nothing.
_NEGLIGIBLE = 1e-4
# Repairs less likely than this are out of the question when tests are weighed.
_OUT = 1e-6
# How many of the likeliest hypotheses a test is weighed on, and in how many bins its outcome is sorted.
_WEIGHED, _BINS = 220, 22
# Edges of bins from one to the next at which an exponential is taken anew.
_ANEW = 4
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
    """A test with what it promises. Either `what` is read, or the question of `step` is answered.

    `after` is the expected minutes from then on: going on measuring at the price of a bit and doing the repair that is
    shown, or doing the likeliest repair for its minutes first, and so on, if that is quicker. `to_show` are those that
    it leaves until whatever is at fault is shown directly.
    """

    minutes: float
    bits: float
    after: float
    to_show: float = 0.0
    what: Observable | None = None
    step: str | None = None

    @property
    def in_all(self) -> float:
        """Expected minutes to a proven repair when this is done next."""
        return self.minutes + self.after


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
    across = {frozenset(passive.part.between) for passive in circuit.parts.values()}
    spans: dict[tuple[str, str], None] = {}
    for points in sides.values():
        for red, black in itertools.combinations(points, 2):
            near = len(points) <= _ALL_PAIRS or red in anchors or black in anchors
            if near or frozenset((red, black)) in across:
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
    belief: Belief,
    tests: Sequence[Observable],
    questions: Sequence[Question],
    reach: Reach,
    aside: str | None = None,
) -> list[Prospect]:
    """All tests and questions, the one that leaves the fewest minutes to a finding first.

    `aside` is a repair that is sure already: what counts is what else is wrong.
    """
    circuit = belief.model.circuit
    rows = np.argsort(belief.weight)[::-1][:_WEIGHED]
    weight = belief.weight[rows] / belief.weight[rows].sum()
    wanted = belief.first_repair if aside is None else belief.repair_beside(aside)
    repairs = np.eye(len(belief.model.repairs))[wanted[rows]]
    mass = weight[:, None] * repairs
    # What is out of the question has no part in what a test tells. Doing nothing, the last one, always has.
    counts = mass.sum(axis=0) > _OUT
    counts[-1] = True
    mass, work = mass[:, counts], repair_minutes(belief)[counts]
    to_show, without = _minutes_to_show(belief, tests, reach)
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
        joint = _outcomes(mean, spread, mass, knee, belief.model.priors.wrong_reading)
        out += [
            Prospect(minutes_for(circuit, what, reach), float(bits), float(after), float(left), what=what)
            for what, bits, after, left, unclear in zip(
                turned, _information(joint), _minutes_after(joint, work), to_show, either_way, strict=True
            )
            if not unclear
        ]
    for question in questions:
        chance = np.stack([belief.answer_weight(table)[rows] for table in question.tables.values()])
        joint = np.einsum("ck,kr->cr", chance / chance.sum(axis=0), mass)
        joint = joint[:, None, :]
        bits, after = float(_information(joint)[0]), float(_minutes_after(joint, work)[0])
        out.append(Prospect(question.minutes, bits, after, without, step=question.step))
    rate = _minutes_per_bit(out)
    odds = mass.sum(axis=0)
    unknown = -float(odds @ np.log2(np.maximum(odds, 1e-300)))
    shown = float(odds @ work)
    out = [
        replace(test, after=min(test.after, test.to_show + rate * max(unknown - test.bits, 0.0) + shown))
        for test in out
    ]
    # The expected minutes to a finding when a test is done next, less what is the same for all of these.
    return sorted(out, key=lambda test: test.minutes + test.to_show - rate * test.bits)


def _minutes_per_bit(tests: Sequence[Prospect]) -> float:
    """What is not known yet will cost what a bit costs now at the cheapest.

    Else, where no test tells much, the one that is merely quick would come first.
    """
    cheapest = min((test.minutes / max(test.bits, 1e-9) for test in tests), default=0.0)
    return max(_MINUTES_PER_BIT, cheapest)


def _minutes_to_show(belief: Belief, tests: Sequence[Observable], reach: Reach) -> tuple[Floats, float]:
    """Expected minutes to show directly whatever is at fault, after each test (m,) and without one.

    A part is shown by a reading across it, or, where nothing has to be bought for it, by two from one point to its
    ends; anything else by one reading at it.
    """
    circuit, points = belief.model.circuit, belief.model.circuit.map.points
    number = {point: n for n, point in enumerate(points)}
    walk = np.array([point.minutes for point in points.values()])
    count = len(tests)
    # The last row is for no test at all.
    away = np.ones((count + 1, len(points)), dtype=bool)
    from_to = np.full((count, 2), -1)
    for row, what in enumerate(tests):
        if not what.clamp:
            from_to[row] = number[what.red], number[what.black]
            away[row, from_to[row]] = False
    away[count, [number[point] for point in reach.leads]] = False
    reached = away * walk
    loaded = np.array([what.state == "cranking" and not what.clamp for what in tests], dtype=bool)
    read = np.zeros((2, len(points), len(points)), dtype=bool)
    for m in belief.evidence.measurements:
        if not m.what.clamp and belief.doubt.get(m.number, 0.0) < DOUBTED:
            ends = number[m.what.red], number[m.what.black]
            read[int(m.what.state == "cranking"), ends, ends[::-1]] = True
    total = np.zeros(count + 1)
    for site, odds in zip(belief.model.sites, belief.site_probability, strict=True):
        start, end = (number[point] for point in site_span(circuit, site))
        at_rest = site.fault == "discharged"
        seen = read[int(not at_rest)]
        if odds < _NEGLIGIBLE or seen[start, end] or site.fault == "dragging":
            continue
        left = reached[:, start] + reached[:, end]
        done = (from_to == (start, end)).all(axis=1) | (from_to == (end, start)).all(axis=1)
        if site.part in circuit.parts and not circuit.repairs[belief.repair_of(site)].fits_a_part:
            if (seen[start] & seen[end]).any():
                continue
            for near, far in ((start, end), (end, start)):
                for other in np.flatnonzero(seen[near]):
                    left = np.minimum(left, reached[:, other] + reached[:, far])
                    done |= (from_to == (other, far)).all(axis=1) | (from_to == (far, other)).all(axis=1)
        left = left + (REST_MINUTES if at_rest else CRANK_MINUTES)
        left[:count][done & (loaded != at_rest)] = 0.0
        total += odds * left
    return total[:count], float(total[count])


@dataclass(frozen=True)
class Act:
    """Something done on the odds alone: opening a thing up for a look, or its repair."""

    look: bool
    repair: str
    odds: float
    minutes: float
    in_all: float


def acts(belief: Belief) -> list[Act]:
    """Looking at the likeliest thing that opens, and repairing at once in the best order, the quicker in all first."""
    odds = np.array([belief.repair_probability[name] for name in belief.model.repairs])
    minutes = repair_minutes(belief)
    first = int(np.argmin(minutes[:-1] / np.maximum(odds[:-1], 1e-9)))
    circuit = belief.model.circuit
    opens = [any(circuit.opens(site.part) for _, site in belief.sites_of(name)) for name in belief.model.repairs[:-1]]
    likeliest = int(np.argmax(np.where(opens, odds[:-1], -1.0)))
    is_likeliest = np.arange(len(odds)) == likeliest
    damage = odds * np.where(is_likeliest, _LOOK_SHOWS, _LOOK_MISLEADS)
    seen = np.stack([damage, odds - damage])[:, None, :]
    names = belief.model.repairs
    found = [
        Act(
            True,
            names[likeliest],
            float(odds[likeliest]),
            LOOK_MINUTES,
            LOOK_MINUTES + float(_minutes_after(seen, minutes)[0]),
        ),
        Act(
            False,
            names[first],
            float(odds[first]),
            float(minutes[first]),
            float(minutes_in_order(odds, minutes)),
        ),
    ]
    return sorted(found, key=lambda act: act.in_all)


def repair_minutes(belief: Belief) -> Floats:
    """Minutes of each repair with its cost and its proof (r,); no repair takes none."""
    priors, repairs = belief.model.priors, belief.model.circuit.repairs
    work = [repairs[name].minutes + repairs[name].cost * priors.minutes_per_cost for name in belief.model.repairs]
    return np.array([*(minutes + PROOF_MINUTES for minutes in work[:-1]), 0.0])


def minutes_in_order(odds: Floats, minutes: Floats) -> Floats:
    """Expected minutes of repairs (..., r) done one after the other until one helps, in the best order.

    The best order is by minutes over odds (Kalagnanam and Henrion 1990). The last column is no repair at all. What is
    unlikelier than `_UNTRIED` of the whole is not tried.
    """
    whole = odds.sum(axis=-1, keepdims=True)
    tried = np.where(odds[..., :-1] > _UNTRIED * whole, odds[..., :-1], 0.0)
    order = np.argsort(np.where(tried > 0, minutes[:-1] / np.maximum(tried, 1e-300), np.inf), axis=-1)
    chance = np.take_along_axis(tried, order, axis=-1)
    spent = np.where(chance > 0, minutes[:-1][order], 0.0)
    still = whole - odds[..., -1:] - np.cumsum(chance, axis=-1) + chance
    return (spent * np.maximum(still, 0.0)).sum(axis=-1)


def _minutes_after(joint: Floats, minutes: Floats) -> Floats:
    """Expected minutes of repairs after each test (m,), from the joint odds of outcome and repair."""
    return minutes_in_order(joint, minutes).sum(axis=0) / joint.sum(axis=(0, 2))


def _outcomes(mean: Floats, spread: Floats, mass: Floats, knee: Floats, wrong: float) -> Floats:
    """Joint odds of each test's outcome, sorted into bins, and the repair (bins, m, repairs)."""
    position = np.arcsinh(mean / knee).T
    width = (spread / np.hypot(mean, knee)).T
    low, high = (position - 2 * width).min(axis=1), (position + 2 * width).max(axis=1)
    bin_width = ((high - low) / (_BINS - 2))[:, None]
    # A logistic stands for the normal distribution. From one edge to the next its exponential grows by a factor: it is
    # taken anew at a few edges only, which must not be too far apart for it.
    width = np.maximum(width, 1.702 * _ANEW * bin_width / 600.0)
    falls = np.exp(-1.702 * bin_width / width)
    above = np.empty((_BINS - 1, *position.shape))
    for edge in range(_BINS - 1):
        if edge % _ANEW == 0:
            from_edge = position - low[:, None] - edge * bin_width
            from_edge *= 1.702 / width
            np.exp(np.clip(from_edge, -690.0, 690.0), out=above[edge])
        else:
            np.multiply(above[edge - 1], falls, out=above[edge])
    above += 1.0
    np.reciprocal(above, out=above)
    below = above @ mass
    total = mass.sum(axis=0)
    joint = np.empty((_BINS, *below.shape[1:]))
    joint[0], joint[-1] = below[0], total - below[-1]
    np.subtract(below[1:], below[:-1], out=joint[1:-1])
    np.maximum(joint, 0.0, out=joint)
    joint *= 1.0 - wrong
    joint += total * (wrong / _BINS)
    return joint


def _information(joint: Floats) -> Floats:
    """Mutual information in bits of outcome and repair, from their joint odds (outcomes, m, repairs)."""

    def entropy(odds: Floats) -> Floats:
        return -(odds * np.log2(np.maximum(odds, 1e-300))).sum(axis=(0, 2))

    total = joint.sum(axis=(0, 2), keepdims=True)
    joint = joint / total
    return entropy(joint.sum(axis=2, keepdims=True)) + entropy(joint.sum(axis=0, keepdims=True)) - entropy(joint)
