"""Good starts in a row against the published zero-failure test and an exact binomial distribution."""

import pytest

from wizard.repair.confidence import confidence_gone, good_starts_needed, least_reliability


def test_published_zero_failure_figures():
    # Quality Council of Indiana, reliability primer: 99 % at 95 % confidence takes 298 tries; 30 clean tries give
    # 92.6 % at 90 %.
    assert good_starts_needed(0.01, 0.95) == 298
    assert least_reliability(30, 0.90) == pytest.approx(0.926, abs=5e-4)


@pytest.mark.parametrize("rate", [0.9, 0.5, 0.3, 0.1, 0.04, 0.01, 0.002])
@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.95, 0.99])
def test_starts_needed_are_the_fewest_of_the_exact_binomial(rate, confidence):
    stats = pytest.importorskip("scipy.stats")
    needed = good_starts_needed(rate, confidence)
    gone = [1.0 - float(stats.binom.pmf(0, n, rate)) for n in (needed - 1, needed)]
    assert round(gone[1], 4) >= confidence
    assert round(gone[0], 4) < confidence or needed == 1
    assert confidence_gone(rate, needed) == pytest.approx(gone[1], abs=1e-12)


@pytest.mark.parametrize("good", [1, 7, 30, 298])
def test_least_reliability_is_the_one_sided_exact_interval(good):
    stats = pytest.importorskip("scipy.stats")
    interval = stats.binomtest(good, good, alternative="greater").proportion_ci(0.9, method="exact")
    assert least_reliability(good, 0.9) == pytest.approx(float(interval.low), abs=1e-9)


def test_no_start_shows_nothing_and_one_is_enough_for_what_always_failed():
    assert confidence_gone(0.3, 0) == 0.0
    assert least_reliability(0, 0.9) == 0.0
    assert good_starts_needed(1.0, 0.95) == 1


@pytest.mark.parametrize("bad", [-0.1, 0.0, 1.1, float("nan")])
def test_a_rate_that_shows_nothing_is_refused(bad):
    with pytest.raises(ValueError, match="failure rate"):
        good_starts_needed(bad, 0.95)
