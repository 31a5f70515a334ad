"""How sure good starts in a row make it that a fault which came and went is gone.

The zero-failure binomial test: were it still failing as often as before, so many good starts in a row would be rare.
"""

from __future__ import annotations

import math

# A confidence is reached when it is so to a hundredth of a per cent, as the published tables round it.
_ROUNDED = 5e-5


def confidence_gone(failure_rate: float, good_starts: int) -> float:
    """Confidence, 0 to 1, that it fails less often than `failure_rate` (0 to 1) after so many good starts in a row.

    1 - (1 - p)^n, the zero-failure binomial test; Quality Council of Indiana, reliability primer. Raises ValueError
    for a rate that is not from 0 to 1 or fewer than no starts.
    """
    if not 0.0 <= failure_rate <= 1.0:
        raise ValueError(f"a failure rate of {failure_rate:g} is not possible; give a share from 0 to 1")
    if good_starts < 0:
        raise ValueError("there can't be fewer than no good starts")
    return 1.0 - (1.0 - failure_rate) ** good_starts


def good_starts_needed(failure_rate: float, confidence: float) -> int:
    """The fewest good starts in a row that give this confidence (over 0, under 1) that it is gone.

    The same equation turned round. Raises ValueError for a rate that is not above 0: what never failed has nothing
    to be shown gone.
    """
    if not 0.0 < failure_rate <= 1.0:
        raise ValueError(f"a failure rate of {failure_rate:g} shows nothing; give a share above 0, up to 1")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"a confidence of {confidence:g} can't be reached; give one between 0 and 1")
    if failure_rate == 1.0:
        return 1
    doubt = min(1.0, 1.0 - confidence + _ROUNDED)
    return max(1, math.ceil(math.log(doubt) / math.log1p(-failure_rate) - 1e-9))


def least_reliability(good_starts: int, confidence: float) -> float:
    """The share of good starts, 0 to 1, that so many in a row show at this confidence: (1 - confidence)^(1/n).

    The same test once more; 0 when there was no start yet. Raises ValueError.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"a confidence of {confidence:g} can't be reached; give one between 0 and 1")
    return (1.0 - confidence) ** (1.0 / good_starts) if good_starts > 0 else 0.0
