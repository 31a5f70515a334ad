"""What each reading did to the odds of the repairs: the same job judged again with one reading more each time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.state import JobState, Reading

# A repair whose odds moved by less than this is not spoken of.
_WORTH_SAYING = 0.02


@dataclass(frozen=True)
class Move:
    """One repair's odds before and after a reading."""

    repair: str
    before: float
    after: float


@dataclass(frozen=True)
class Shift:
    """A reading with the repairs whose odds it moved, the most moved first."""

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
        moves = [Move(repair, before.get(repair, 0.0), odds) for repair, odds in after.items()]
        moves.sort(key=lambda move: -abs(move.after - move.before))
        yield Shift(reading, tuple(m for m in moves[:3] if abs(m.after - m.before) >= _WORTH_SAYING))
        before = after


def _odds(desk: Desk, state: JobState, readings: int) -> dict[str, float]:
    return dict(Case.of(desk, replace(state, readings=state.readings[:readings])).belief.repair_probability)
