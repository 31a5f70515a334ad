"""The belief against brute force over the whole model: vehicles drawn at random, solved by hand and weighed.

Brute force has an error of its own. Its standard error is known from the weights (self-normalised importance sampling),
and the bound leaves room for two of them beside the 0.02 that the belief may be off.
`python -m tests.benchmarks.monte_carlo` does ten sets with more vehicles.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.monte_carlo import CIRCUIT, check_by_hand, compare, random_evidence
from tests.vehicles import desk
from wizard.diagnosis.faults import FaultModel, History

OFF = 0.02


@pytest.fixture(scope="module")
def model() -> FaultModel:
    return desk(CIRCUIT).fault_model(History())


def test_three_loops_solved_by_hand_read_as_the_network_does(model: FaultModel) -> None:
    # A rotor shorted to next to nothing makes the network's matrix stiff and costs it digits: millivolts, no more.
    assert check_by_hand(model, 150, np.random.default_rng(8)) < 5e-3


@pytest.mark.parametrize(("seed", "number"), [(1, 0), (1, 1), (1, 2), (1, 4), (1, 6), (1, 7), (2, 3), (2, 7), (2, 8)])
def test_every_repair_is_as_likely_as_brute_force_finds(model: FaultModel, seed: int, number: int) -> None:
    evidence, label = random_evidence(model, np.random.default_rng([seed, number]))
    _, brute, worst = compare(model, evidence, 600_000, np.random.default_rng(number))
    assert brute.error < 0.012, f"{label}: too few vehicles fit to say anything"
    assert worst < OFF + 2.0 * brute.error, label
