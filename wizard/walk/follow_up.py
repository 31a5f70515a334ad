"""The follow-up of a repair: starts counted over days, hot and cold apart, until the fault counts as gone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from wizard.repair.confidence import confidence_gone, good_starts_needed, least_reliability
from wizard.walk.state import JobState, Starts

Engine = Literal["cold", "hot"]
ENGINES: tuple[Engine, ...] = ("cold", "hot")
# The confidences that practice asks for before it calls a fault gone.
LIKELY, SURE = 0.90, 0.95
# A start with a cold engine comes after so many hours at rest or more, so that a day has no more than so many of them.
# Common practice, no source.
COOLS_H, COLD_A_DAY = 6, 3


@dataclass(frozen=True)
class Tally:
    """Starts with a cold or a hot engine: before the last repair, and since it.

    `in_a_row` are good ones since the last that failed. `needed_likely` and `needed_sure` are good starts in a row for
    90 and 95 % confidence; None where it never failed before, so that nothing can be shown. `confidence` is what the
    row gives by now, None likewise. `reliability` is the least share of starts that the row shows to be good at 90 %
    confidence, whatever it was before. `crowded` are days with more good cold starts than an engine is cold for, with
    how many. `early` are days before that of the last repair whose starts were entered after it, with how many.
    """

    engine: Engine
    failed_before: int
    tries_before: int
    failed_since: int
    in_a_row: int
    days: tuple[date, ...]
    needed_likely: int | None
    needed_sure: int | None
    confidence: float | None
    reliability: float
    crowded: tuple[tuple[date, int], ...]
    early: tuple[tuple[date, int], ...]

    @property
    def left(self) -> int:
        """Good starts in a row still wanted for 95 % confidence."""
        return max(0, (self.needed_sure or 0) - self.in_a_row)


@dataclass(frozen=True)
class FollowUpView:
    """Where the follow-up stands; `status` says what to do.

    `no-repair`: nothing to follow yet. `uncounted`: nobody said how often it failed, so count on and ask. `counting`:
    more good starts are needed. `shown`: enough for 95 %. `failed-again`: it failed since the repair. `closed`: the
    user ended it.
    """

    status: Literal["no-repair", "uncounted", "counting", "shown", "failed-again", "closed"]
    tallies: tuple[Tally, ...]

    @property
    def wanted(self) -> list[Tally]:
        """Those that it failed in before, so that a number of good starts shows something."""
        return [tally for tally in self.tallies if tally.needed_sure is not None]

    @property
    def enough(self) -> bool:
        """Whether the count shows that the fault is gone, whoever closed it or holds it open."""
        failed = any(tally.failed_since for tally in self.tallies)
        return bool(self.wanted) and not failed and all(tally.left == 0 for tally in self.wanted)

    @property
    def short_of(self) -> str:
        """What the count still wants, in words; empty when it is enough."""
        if self.enough:
            return ""
        if any(tally.failed_since for tally in self.tallies):
            return "Not proved: it failed to start again after the repair."
        if not self.wanted:
            return (
                "Not proved yet: nobody counted how often it failed before, so no number of good starts shows it gone."
            )
        rows = [f"{t.in_a_row} of {t.needed_sure} good starts in a row with a {t.engine} engine" for t in self.wanted]
        left = sum(tally.left for tally in self.wanted)
        return f"Not proved yet: {' and '.join(rows)}, {left} more wanted."


def follow_up(state: JobState) -> FollowUpView:
    """The follow-up of the last repair. A failed start opens it again, whatever was closed before."""
    tallies = tuple(_tally(engine, state) for engine in ENGINES)
    if not state.repairs:
        return FollowUpView("no-repair", tallies)
    view = FollowUpView("counting", tallies)
    if any(tally.failed_since for tally in tallies):
        return replace(view, status="failed-again")
    if state.follow_up_open is False:
        return replace(view, status="closed")
    if not view.wanted:
        return replace(view, status="uncounted")
    return replace(view, status="shown") if state.follow_up_open is None and view.enough else view


def failures_untold(state: JobState) -> bool:
    """Whether a fault comes and goes and nobody counted yet how often, as its repair will be proved by."""
    counts = state.complaint is not None and state.complaint.intermittent
    return counts and all(starts.seen.good or starts.struck for starts in state.starts)


def _tally(engine: Engine, state: JobState) -> Tally:
    own = [starts for starts in state.starts if starts.seen.engine == engine and not starts.struck]
    before = [starts for starts in own if starts.repairs_before < len(state.repairs)]
    since = [starts for starts in own if starts.repairs_before == len(state.repairs)]
    failed, tries = _count(before, good=False), _count(before)
    row = 0
    for starts in since:
        row = row + starts.seen.times if starts.seen.good else 0
    rate = failed / tries if failed else None
    return Tally(
        engine,
        failed,
        tries,
        _count(since, good=False),
        row,
        tuple(sorted({starts.seen.day for starts in since if starts.seen.day})),
        None if rate is None else good_starts_needed(rate, LIKELY),
        None if rate is None else good_starts_needed(rate, SURE),
        None if rate is None else confidence_gone(rate, row),
        least_reliability(row, LIKELY),
        _crowded(since) if engine == "cold" else (),
        _early(before, len(state.repairs)),
    )


def cold_room(state: JobState, day: date) -> int:
    """How many more good starts of that day can have been with a cold engine; one that fails leaves it cold."""
    return max(0, COLD_A_DAY - _cold_by_day(starts for starts in state.starts if not starts.struck)[day])


def _early(before: Iterable[Starts], repairs: int) -> tuple[tuple[date, int], ...]:
    days = Counter[date]()
    for starts in before:
        if starts.early and starts.seen.day is not None and starts.repairs_before == repairs - 1:
            days[starts.seen.day] += starts.seen.times
    return tuple(sorted(days.items()))


def _crowded(counted: Iterable[Starts]) -> tuple[tuple[date, int], ...]:
    return tuple(sorted((day, times) for day, times in _cold_by_day(counted).items() if times > COLD_A_DAY))


def _cold_by_day(counted: Iterable[Starts]) -> Counter[date]:
    """Good starts with a cold engine by their day, where it is known."""
    days = Counter[date]()
    for starts in counted:
        if starts.seen.good and starts.seen.engine == "cold" and starts.seen.day is not None:
            days[starts.seen.day] += starts.seen.times
    return days


def _count(counted: Iterable[Starts], *, good: bool | None = None) -> int:
    return sum(starts.seen.times for starts in counted if good is None or starts.seen.good is good)
