"""The next test against the exact best on small maps, and against plain habits on a shipped one."""

from functools import partial

import numpy as np
import pytest

from tests.benchmarks.planning import (
    SMALL,
    Vehicle,
    best_minutes,
    halving,
    mean_of,
    of_parts,
    point_by_point,
    pursue,
    small_desk,
    vehicles,
)
from wizard.diagnosis.planner import Reach, minutes_for
from wizard.walk.desk import Desk

# The wizard may take this many times the exact best mean minutes on a small map.
_CLOSE = 1.05


@pytest.fixture(scope="module", params=SMALL)
def small(request: pytest.FixtureRequest) -> tuple[Desk, list[Vehicle]]:
    """A small map with the faults of its parts."""
    at = small_desk(request.param)
    return at, of_parts(at, vehicles(at))


def test_on_a_small_map_the_wizard_is_close_to_the_exact_best(small: tuple[Desk, list[Vehicle]]) -> None:
    at, fleet = small
    exact, _ = best_minutes(at.circuit, fleet)
    mine = mean_of(fleet, partial(pursue, at))
    assert mine.right == pytest.approx(1.0)
    # Less than the least would mean that the two do not play by the same rules.
    assert exact <= mine.minutes <= _CLOSE * exact


def test_the_exact_bests_minutes_are_those_of_its_own_readings(small: tuple[Desk, list[Vehicle]]) -> None:
    at, fleet = small
    exact, paths = best_minutes(at.circuit, fleet)
    spent = []
    for path in paths:
        leads: frozenset[str] = frozenset()
        total = 0.0
        for what in path:
            total += minutes_for(at.circuit, what, Reach(leads))
            leads = frozenset({what.red, what.black} - {""})
        spent.append(total)
    assert np.average(spent, weights=[vehicle.odds for vehicle in fleet]) == pytest.approx(exact)


def test_the_wizard_needs_less_than_either_habit(front_desk: Desk) -> None:
    # One of every so many faults: the benchmark runs them all.
    fleet = vehicles(front_desk)[::4]
    circuit = front_desk.circuit
    mine = mean_of(fleet, partial(pursue, front_desk))
    by_point, by_half = (
        mean_of(fleet, lambda one, habit=habit: pursue(front_desk, one, habit(circuit, one.heard, battery=True)))
        for habit in (point_by_point, halving)
    )
    assert mine.readings < by_point.readings
    assert mine.minutes < by_half.minutes
