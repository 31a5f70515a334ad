"""The exact answers against published figures, and against trying everything."""

import itertools
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wizard.diagnosis.yardsticks import (
    BestPlan,
    Puzzle,
    Split,
    cheapest_splits,
    huffman_bound,
    order_cost,
    repair_order,
)

# Gilbert and Moore, Variable-Length Binary Encodings, Bell System Technical Journal 38 (1959): odds of the 27 symbols
# in order, space then A to Z, and the averages of the best alphabetic code and of Huffman's.
SYMBOLS = (
    0.1859, 0.0642, 0.0127, 0.0218, 0.0317, 0.1031, 0.0208, 0.0152, 0.0467, 0.0575, 0.0008, 0.0049, 0.0321, 0.0198,
    0.0574, 0.0632, 0.0152, 0.0008, 0.0484, 0.0514, 0.0796, 0.0228, 0.0083, 0.0175, 0.0013, 0.0164, 0.0005,
)  # fmt: skip
ALPHABETIC, HUFFMAN = 4.1978, 4.1195

odds_in_a_row = st.lists(st.floats(0.01, 1.0), min_size=2, max_size=7).map(lambda odds: [x / sum(odds) for x in odds])


def _depths(plan: Split | int, minutes: list[float], spent: float = 0.0) -> dict[int, float]:
    """Minutes on the way to each part."""
    if not isinstance(plan, Split):
        return {plan: spent}
    spent += minutes[plan.after]
    return {**_depths(plan.near, minutes, spent), **_depths(plan.far, minutes, spent)}


def _every_plan(odds: list[float], minutes: list[float]) -> float:
    @cache
    def best(first: int, last: int) -> float:
        if first == last:
            return 0.0
        whole = sum(odds[first : last + 1])
        return min(whole * minutes[k] + best(first, k) + best(k + 1, last) for k in range(first, last))

    return best(0, len(odds) - 1)


def test_gilbert_and_moores_table_is_split_in_the_published_average() -> None:
    tests, plan = cheapest_splits(SYMBOLS)
    assert tests == pytest.approx(ALPHABETIC, abs=5e-5)
    depths = _depths(plan, [1.0] * 26)
    assert list(depths) == list(range(27))
    assert sum(odds * depths[n] for n, odds in enumerate(SYMBOLS)) == pytest.approx(tests)


def test_huffmans_bound_lies_below_it_at_its_published_figure() -> None:
    assert huffman_bound(SYMBOLS) == pytest.approx(HUFFMAN, abs=5e-5)


def test_equal_odds_and_costs_are_halved() -> None:
    # Eight alike need three halvings each: the logarithm of eight to the base of two.
    tests, plan = cheapest_splits([1 / 8] * 8)
    assert tests == pytest.approx(3.0)
    assert isinstance(plan, Split)
    assert plan.after == 3


@given(odds_in_a_row, st.data())
def test_no_other_plan_of_splits_is_cheaper(odds: list[float], data: st.DataObject) -> None:
    minutes = data.draw(st.lists(st.floats(0.5, 9.0), min_size=len(odds) - 1, max_size=len(odds) - 1))
    cost, plan = cheapest_splits(odds, minutes)
    assert cost == pytest.approx(_every_plan(odds, minutes))
    depths = _depths(plan, minutes)
    assert sum(odds[n] * depths[n] for n in range(len(odds))) == pytest.approx(cost)


@given(odds_in_a_row)
def test_a_run_never_beats_huffman_nor_huffman_the_entropy(odds: list[float]) -> None:
    entropy = -sum(p * np.log2(p) for p in odds)
    assert entropy - 1e-9 <= huffman_bound(odds) <= cheapest_splits(odds)[0] + 1e-9


def test_a_boundary_too_many_is_refused() -> None:
    with pytest.raises(ValueError, match="2 parts in a row have 1 boundaries"):
        cheapest_splits([0.5, 0.5], [1.0, 1.0])


@given(odds_in_a_row.filter(lambda odds: len(odds) <= 6), st.data())
@settings(max_examples=60)
def test_no_order_of_repairs_is_cheaper_than_cost_over_probability(odds: list[float], data: st.DataObject) -> None:
    # Kalagnanam and Henrion, A Comparison of Decision Analysis and Expert Rules for Sequential Diagnosis (1990).
    cost = data.draw(st.lists(st.floats(0.5, 200.0), min_size=len(odds), max_size=len(odds)))
    least = min(order_cost(order, odds, cost) for order in itertools.permutations(range(len(odds))))
    assert order_cost(repair_order(odds, cost), odds, cost) == pytest.approx(least)


def test_a_repair_that_can_not_be_the_one_is_done_last() -> None:
    assert repair_order([0.0, 0.4, 0.6], [1.0, 90.0, 15.0]) == [2, 1, 0]


# --- small maps without noise ------------------------------------------------------------------------------------


def _chain(odds: list[float], minutes: list[float]) -> Puzzle:
    """Parts in a row, each reading telling one boundary, and the last one left needing to be shown by nothing."""
    n = len(odds)
    return Puzzle(
        np.array(odds),
        np.arange(n),
        np.array([[int(part > after) for part in range(n)] for after in range(n - 1)]),
        np.tile(minutes, (n, 1)),
        [[frozenset()]] * n,
    )


@given(odds_in_a_row, st.data())
@settings(max_examples=40, deadline=None)
def test_on_a_run_the_best_plan_is_the_cheapest_splits(odds: list[float], data: st.DataObject) -> None:
    minutes = data.draw(st.lists(st.floats(0.5, 9.0), min_size=len(odds) - 1, max_size=len(odds) - 1))
    plan = BestPlan(_chain(odds, minutes))
    assert plan.minutes() == pytest.approx(cheapest_splits(odds, minutes)[0])


@st.composite
def puzzles(draw: st.DrawFn) -> Puzzle:
    """Four faults, and four tests between four points; each fault is shown by one test or by two."""
    outcome = np.array([[draw(st.integers(0, 2)) for _ in range(4)] for _ in range(3)] + [[0, 1, 2, 3]])
    walk = [draw(st.integers(1, 6)) for _ in range(4)]
    spans = [draw(st.sampled_from([*itertools.combinations(range(4), 2)])) for _ in range(4)]
    minutes = np.array([[1.0 + sum(walk[p] for p in {*span} - {*leads}) for span in spans] for leads in (*spans, ())])
    sets = st.frozensets(st.integers(0, 3), min_size=1, max_size=2)
    shows = [draw(st.lists(sets, min_size=1, max_size=2)) for _ in range(4)]
    repair = np.array([draw(st.integers(0, 2)) for _ in range(4)])
    odds = np.array([draw(st.integers(1, 9)) for _ in range(4)]) / 10
    return Puzzle(odds, repair, outcome, minutes, shows)


def _brute_force(puzzle: Puzzle) -> float:
    """The same by trying every test at every turn, without bounds or merged states."""

    def best(left: tuple[int, ...], taken: tuple[int, ...]) -> float:
        shown = all(any(tests <= set(taken) for tests in puzzle.shows[n]) for n in left)
        if shown and len({int(puzzle.repair[n]) for n in left}) == 1:
            return 0.0
        weight = puzzle.odds[list(left)].sum()
        totals = [np.inf]
        for test in set(range(len(puzzle.outcome))) - set(taken):
            total = puzzle.minutes[taken[-1] if taken else -1, test]
            for value in set(puzzle.outcome[test, list(left)].tolist()):
                part = tuple(n for n in left if puzzle.outcome[test, n] == value)
                total += puzzle.odds[list(part)].sum() / weight * best(part, (*taken, test))
            totals.append(float(total))
        return min(totals)

    return best(tuple(range(len(puzzle.odds))), ())


@given(puzzles())
@settings(max_examples=40, deadline=None)
def test_the_best_plan_is_no_worse_than_any_other(puzzle: Puzzle) -> None:
    plan = BestPlan(puzzle)
    least = plan.minutes()
    assert least == pytest.approx(_brute_force(puzzle))
    walked = 0.0
    for truth, odds in enumerate(puzzle.odds):
        tests = plan.path(truth)
        spent = sum(puzzle.minutes[before, test] for before, test in itertools.pairwise([-1, *tests]))
        walked += float(odds * spent)
        assert any(sets <= set(tests) for sets in puzzle.shows[truth])
    assert walked / puzzle.odds.sum() == pytest.approx(least)


def test_two_repairs_that_no_test_tells_apart_are_refused() -> None:
    alike = Puzzle(np.array([0.5, 0.5]), np.array([0, 1]), np.array([[0, 0]]), np.ones((2, 1)), [[frozenset({0})]] * 2)
    with pytest.raises(ValueError, match="no tests lead to a named repair"):
        BestPlan(alike).minutes()
