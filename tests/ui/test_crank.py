"""Rest of the starter between cranks. US Army TM 10-3930-671-24: no longer than 30 s, then rest 2 min."""

from datetime import UTC, datetime, timedelta

import pytest

from wizard.ui.crank import clock, rest_left_s

NOON = datetime(2030, 5, 1, 12, tzinfo=UTC)


def at(seconds: float) -> datetime:
    return NOON + timedelta(seconds=seconds)


@pytest.mark.parametrize(
    ("cranks", "now_s", "rest_s"),
    [
        ([], 0, 0),
        ([(0, 5)], 1, 0),
        ([(0, 30)], 0, 120),
        ([(0, 30)], 45, 75),
        ([(0, 30)], 120, 0),
        ([(0, 30)], 1000, 0),
        # Short cranks in a row add up; a full rest between them starts the count again.
        ([(0, 10), (20, 10), (40, 10)], 40, 120),
        ([(0, 10), (20, 10), (170, 10)], 170, 0),
    ],
)
def test_rest_left(cranks: list[tuple[float, float]], now_s: float, rest_s: float) -> None:
    assert rest_left_s([(at(ended), held) for ended, held in cranks], at(now_s)) == pytest.approx(rest_s)


def test_clock_is_minutes_and_seconds() -> None:
    assert [clock(5), clock(65), clock(600)] == ["0:05", "1:05", "10:00"]
