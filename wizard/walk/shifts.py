"""What each reading did to the odds of the suspects: the same job judged again with one reading more each time."""

from __future__ import annotations

from collections.abc import Iterator
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


def odds_shifts(desk: Desk, state: JobState, most: int = 12) -> Iterator[Shift]:
    """What each of the latest standing readings did, no more than `most` of them, in the order they were taken."""
    wanted = [reading.number for reading in state.current][-most:]
    if not wanted:
        return
    before = _odds(desk, state, wanted[0] - 1)
    for reading in state.current:
        if reading.number not in wanted:
            continue
        after = _odds(desk, state, reading.number)
        moves = [Move(*suspect, before[suspect], odds) for suspect, odds in after.items()]
        moves.sort(key=lambda move: -abs(move.after - move.before))
        yield Shift(reading, tuple(m for m in moves[:3] if abs(m.after - m.before) >= _WORTH_SAYING))
        before = after


def _odds(desk: Desk, state: JobState, readings: int) -> dict[_Suspect, float]:
    belief = Case.of(desk, replace(state, readings=state.readings[:readings])).belief
    sites = zip(belief.model.sites, belief.site_probability, strict=True)
    return {(site.part, site.fault): float(odds) for site, odds in sites}
