"""The plot of volts along the run: what it can place of the readings there are."""

from __future__ import annotations

import pytest
from driven import Open

from wizard.files.settings import Layout, Settings
from wizard.walk.events import ReadingTaken

DEMO = "parcel-van"


def inside(volts: float, *, turned: bool = False) -> ReadingTaken:
    ends = ("bulkhead-stud", "isolator-load-lug") if turned else ("isolator-load-lug", "bulkhead-stud")
    return ReadingTaken(state="cranking", red=ends[0], black=ends[1], value=-volts if turned else volts, crank=9)


@pytest.mark.parametrize("turned", [False, True])
async def test_a_reading_that_nothing_ties_to_the_post_is_a_step_of_its_own(bay: Open, turned: bool) -> None:
    async with bay(DEMO) as driven:
        await driven.at_positive_drop()
        await driven.press("v")
        assert "To begin it, read from battery positive post" in driven.shown()
        await driven.press("escape")
        driven.job.record(inside(0.62, turned=turned))
        await driven.settle()
        await driven.press("v")
        line = next(line for line in driven.shown().splitlines() if "bulkhead stud" in line)
        assert "+0.62 V" in line
        assert "---o" in line.replace(":", "")
        await driven.press("escape")
        driven.job.record(
            ReadingTaken(state="cranking", red="battery-positive-post", black="isolator-load-lug", value=0.1, crank=10)
        )
        await driven.settle()
        await driven.press("v")
        line = next(line for line in driven.shown().splitlines() if "bulkhead stud" in line)
        assert "0.72 V" in line
        assert "+" not in line
        assert "To begin it, read from battery positive post" not in driven.shown()


async def test_read_aloud_it_says_the_same(bay: Open) -> None:
    async with bay(DEMO, settings=Settings(layout=Layout.SPOKEN, tour_seen=True)) as driven:
        await driven.at_positive_drop()
        driven.job.record(inside(0.62))
        await driven.settle()
        await driven.press("v")
        assert "From isolator load lug to here: 0.62 V" in driven.shown().replace("\n", " ")
