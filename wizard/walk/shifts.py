"""What each reading did to the odds of the suspects: the same job judged again with one reading more each time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.state import JobState, Reading

# A suspect whose odds moved by less than this is not spoken of.
_WORTH_SAYING = 0.02


# Part and what may be wrong with it.
_Suspect = tuple[str, str]


@dataclass(frozen=True)
class Move:
    """One suspect's odds to be at fault, before and after a reading."""

    part: str
    fault: str
    before: float
    after: float


@dataclass(frozen=True)
class Shift:
    """A reading with the suspects whose odds it moved, the most moved first."""

    reading: Reading
    moves: tuple[Move, ...]


def latest(state: JobState, most: int = 12) -> list[Reading]:
    """The latest standing readings whose doing is told, no more than `most` of them, in the order they were taken."""
    return list(state.current)[-most:]


def odds_shifts(desk: Desk, state: JobState, readings: Sequence[Reading]) -> Iterator[Shift]:
    """What each of these standing readings did, the last one first: that is what is asked for soonest."""
    if not readings:
        return
    after = _odds(desk, state, readings[-1].number)
    # Before the first of them stood whatever was read earlier.
    earlier = [readings[0].number - 1, *(reading.number for reading in readings[:-1])]
    for reading, number in zip(reversed(readings), reversed(earlier), strict=True):
        before = _odds(desk, state, number)
        moves = [Move(*suspect, before[suspect], odds) for suspect, odds in after.items()]
        moves.sort(key=lambda move: -abs(move.after - move.before))
        yield Shift(reading, tuple(m for m in moves[:3] if abs(m.after - m.before) >= _WORTH_SAYING))
        after = before


def _odds(desk: Desk, state: JobState, readings: int) -> dict[_Suspect, float]:
    belief = Case.of(desk, replace(state, readings=state.readings[:readings])).belief
    sites = zip(belief.model.sites, belief.site_probability, strict=True)
    return {(site.part, site.fault): float(odds) for site, odds in sites}
