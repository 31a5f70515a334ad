"""Exact answers that the planner is held against: cheapest splits, best minutes on small maps, order of repairs.

They take known odds and readings without noise, so they are lower bounds for what a bay can do, not plans for it.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from wizard.circuit.network import Floats, Ints


@dataclass(frozen=True)
class Split:
    """A reading at the boundary behind part `after`: the bad part is on the battery's side of it or beyond.

    `near` and `far` say what to do in either case: split again, or the number of the part that is left.
    """

    after: int
    near: Split | int
    far: Split | int


def cheapest_splits(odds: Sequence[float], minutes: Sequence[float] | None = None) -> tuple[float, Split | int]:
    """Least expected minutes to the one bad part of a run, and the plan that takes them.

    `odds` (n,) are the parts' in their order along the run, and sum to 1; `minutes` (n - 1,) are those of a reading at
    each boundary between neighbours, all 1 when left out, which counts readings. A reading tells which side of its
    boundary is bad and nothing more. This is the optimal alphabetic tree (Gilbert and Moore, Variable-Length Binary
    Encodings, Bell System Technical Journal 38, 1959) with a cost for each boundary; time grows with n cubed.

    Raises ValueError for no parts, or for another number of minutes than of boundaries.
    """
    n = len(odds)
    cost_of = np.ones(max(n - 1, 0)) if minutes is None else np.asarray(minutes, dtype=float)
    if n == 0 or len(cost_of) != n - 1:
        raise ValueError(f"{n} parts in a row have {max(n - 1, 0)} boundaries between them, not {len(cost_of)}")
    sums = np.concatenate([[0.0], np.cumsum(odds)])
    cost = np.zeros((n, n))
    best = np.zeros((n, n), dtype=np.intp)
    for width in range(1, n):
        for first in range(n - width):
            last = first + width
            here = cost_of[first:last] * (sums[last + 1] - sums[first])
            total = here + cost[first, first:last] + cost[first + 1 : last + 1, last]
            best[first, last] = first + int(np.argmin(total))
            cost[first, last] = total.min()

    def plan(first: int, last: int) -> Split | int:
        if first == last:
            return first
        after = int(best[first, last])
        return Split(after, plan(first, after), plan(after + 1, last))

    return float(cost[0, n - 1]), plan(0, n - 1)


def huffman_bound(odds: Sequence[float]) -> float:
    """Least expected number of yes/no tests when a test may ask for any set of parts: below any plan of splits.

    `odds` sum to 1. The optimal prefix code (Huffman, A Method for the Construction of Minimum-Redundancy Codes,
    Proceedings of the IRE 40, 1952).
    """
    heap = list(odds)
    heapq.heapify(heap)
    total = 0.0
    while len(heap) > 1:
        joined = heapq.heappop(heap) + heapq.heappop(heap)
        total += joined
        heapq.heappush(heap, joined)
    return total


def repair_order(probability: Sequence[float], cost: Sequence[float]) -> list[int]:
    """The order in which to do repairs one at a time, each followed by a check, so that the expected cost is least.

    Exactly one of them is needed, with these odds (n,); costs (n,) are above zero, in minutes or in money. The order
    is that of cost over probability, the least first (Kalagnanam and Henrion, A Comparison of Decision Analysis and
    Expert Rules for Sequential Diagnosis, 1990); a repair that can't be the one comes last.
    """
    return sorted(range(len(cost)), key=lambda n: cost[n] / probability[n] if probability[n] > 0 else np.inf)


def order_cost(order: Sequence[int], probability: Sequence[float], cost: Sequence[float]) -> float:
    """Expected cost of doing repairs in this order until the needed one is done."""
    spent = np.cumsum([cost[n] for n in order])
    return float(spent @ np.array([probability[n] for n in order]))


@dataclass(frozen=True)
class Puzzle:
    """A small map without noise: h hypotheses of which one is true, and t tests with certain outcomes.

    `odds` (h,) need not sum to 1. `repair` (h,) is what each hypothesis calls for. `outcome` (t, h) numbers what each
    test shows under each; where two are equal, the test does not tell them apart. `minutes` (t + 1, t) are those of
    each test by the test that went before it, for the leads stay where they were; the last row is with the leads
    still in the box; no way round by a third test may be quicker. `shows` (h) has, for each hypothesis, the sets of
    tests that show it directly, any one of which will do.
    """

    odds: Floats
    repair: Ints
    outcome: Ints
    minutes: Floats
    shows: Sequence[Sequence[frozenset[int]]]


@dataclass
class BestPlan:
    """Exact least expected minutes of a puzzle, by dynamic programming over what is still possible.

    A job ends when every hypothesis that is left calls for one repair and the tests taken show it directly, the same
    demand that a finding makes. The state is the hypotheses left, the test taken last, and of the tests taken those
    that may still help to show something. Its size grows with two to the number of tests: made for up to six parts.
    """

    puzzle: Puzzle
    _known: dict[tuple[int, int, int], tuple[float, int]] = field(
        default_factory=dict[tuple[int, int, int], tuple[float, int]]
    )

    def __post_init__(self) -> None:
        puzzle = self.puzzle
        self._tests, self._count = puzzle.outcome.shape
        self._weight = [float(odds) for odds in puzzle.odds]
        self._minutes: list[list[float]] = puzzle.minutes.tolist()
        self._least = puzzle.minutes.min(axis=0).tolist()
        self._groups = [_masks(row) for row in puzzle.outcome]
        self._one_repair = _masks(puzzle.repair)
        self._shows = [[sum(1 << test for test in tests) for tests in sets] for sets in puzzle.shows]
        self._useful = [_union(sets) for sets in self._shows]

    def minutes(self, possible: Sequence[int] | None = None) -> float:
        """Expected minutes from the start, over all hypotheses or those that a complaint leaves possible.

        Raises ValueError when no tests can show one of them, or when two with different repairs can't be told apart.
        """
        mask = sum(1 << n for n in (range(self._count) if possible is None else possible))
        best, _ = self._best(mask, 0, self._tests)
        if best == np.inf:
            raise ValueError("no tests lead to a named repair from every hypothesis")
        return best

    def path(self, truth: int, possible: Sequence[int] | None = None) -> list[int]:
        """The tests that the best plan takes when this hypothesis is true, in their order."""
        mask = sum(1 << n for n in (range(self._count) if possible is None else possible))
        taken, last, tests = 0, self._tests, list[int]()
        while (test := self._best(mask, taken, last)[1]) >= 0:
            mask &= next(group for group in self._groups[test] if group >> truth & 1)
            taken, last = taken | 1 << test, test
            tests.append(test)
        return tests

    def _best(self, mask: int, taken: int, last: int) -> tuple[float, int]:
        """Least minutes from here, and the test that begins them; -1 when there is nothing left to do."""
        left = _numbers(mask)
        useful = _union(self._useful[n] for n in left)
        key = (mask, taken & useful, last)
        if key in self._known:
            return self._known[key]
        if any(mask & group == mask for group in self._one_repair) and all(self._is_shown(n, taken) for n in left):
            self._known[key] = (0.0, -1)
            return self._known[key]
        weight = sum(self._weight[n] for n in left)
        best, first = np.inf, -1
        for test in sorted(range(self._tests), key=lambda t: self._minutes[last][t]):
            if taken >> test & 1:
                continue
            parts = [mask & group for group in self._groups[test] if mask & group]
            if len(parts) == 1 and not useful >> test & 1:
                continue
            total = self._minutes[last][test]
            if total >= best:
                break
            after = taken | 1 << test
            bounds = [self._bound(part, after) for part in parts]
            shares = [sum(self._weight[n] for n in _numbers(part)) / weight for part in parts]
            total += sum(share * bound for share, bound in zip(shares, bounds, strict=True))
            for part, share, bound in zip(parts, shares, bounds, strict=True):
                if total >= best:
                    break
                total += share * (self._best(part, after, test)[0] - bound)
            if total < best:
                best, first = total, test
        self._known[key] = (best, first)
        return self._known[key]

    def _bound(self, mask: int, taken: int) -> float:
        """Minutes that are needed from here at least: for each hypothesis, the quickest tests that would show it."""
        total = weight = 0.0
        for n in _numbers(mask):
            missing = [sum(self._least[t] for t in _numbers(tests & ~taken)) for tests in self._shows[n]]
            total += self._weight[n] * min(missing, default=np.inf)
            weight += self._weight[n]
        return total / weight

    def _is_shown(self, hypothesis: int, taken: int) -> bool:
        return any(tests & ~taken == 0 for tests in self._shows[hypothesis])


def _masks(labels: Ints) -> list[int]:
    """Hypotheses with equal labels as sets of bits."""
    return [sum(1 << int(n) for n in np.flatnonzero(labels == label)) for label in np.unique(labels)]


def _numbers(mask: int) -> list[int]:
    """Which bits are set."""
    return [n for n in range(mask.bit_length()) if mask >> n & 1]


def _union(masks: Iterable[int]) -> int:
    total = 0
    for mask in masks:
        total |= mask
    return total
