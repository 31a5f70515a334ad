"""What the wizard says is true as often as it says, on vehicles drawn from its own priors; a few of them.

The bounds are wide, for there are few jobs: each is the issue's own figure less four standard errors of a share of
that many. `python -m tests.benchmarks.calibration --jobs 2000` prints the whole table.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.calibration import Job, Outcome, deciles, simulate

CIRCUIT = "front-battery"
# Standard errors that chance may take away.
ROOM = 4.0


def least(share: float, many: int) -> float:
    """A share of this many that chance alone hardly ever undercuts."""
    return share - ROOM * float(np.sqrt(share * (1.0 - share) / max(many, 1)))


@pytest.fixture(scope="module")
def jobs() -> list[Job]:
    return simulate(CIRCUIT, "fastest", range(7000, 7060))


def test_statements_are_true_as_often_as_they_say(jobs: list[Job]) -> None:
    for low, high, many, mean, true in deciles(jobs):
        # Statements of one job hang together: count the jobs that made any, not the statements.
        counted = sum(any(low <= p < high and not done for p, _, done in job.statements) for job in jobs)
        room = ROOM * np.sqrt(max(mean * (1.0 - mean), 0.02) / counted)
        assert abs(true - mean) < room, f"{low:.0%} to {high:.0%}: {true:.2f} of {many} are true"


def test_jobs_end_with_the_right_repair(jobs: list[Job]) -> None:
    outcome = Outcome.of(jobs)
    for (share, many), wanted in ((outcome.ended, 0.99), (outcome.clear_singles, 0.97)):
        assert share >= least(wanted, many)


def test_sound_circuits_lose_nothing() -> None:
    sound = simulate(CIRCUIT, "fastest", range(100, 116), kind="healthy")
    lost, many = Outcome.of(sound).sound_lost_a_part
    assert many == len(sound)
    assert lost * many < 2


def test_pairs_end_with_both_repairs() -> None:
    pairs = simulate(CIRCUIT, "fastest", range(200, 216), kind="pair")
    both, many = Outcome.of(pairs).pairs
    assert many == len(pairs)
    assert both >= least(0.9, many)


def test_faults_that_come_and_go_are_found_or_left_and_sound_parts_kept() -> None:
    gone = simulate(CIRCUIT, "fastest", range(300, 324), intermittent=True)
    outcome = Outcome.of(gone)
    assert outcome.ended == (1.0, len(gone))
    share, many = outcome.wrong_part
    assert share * many < 4
    share, many = outcome.nothing_named
    assert share < 1.0 - least(0.8, many)
