"""Labour and parts: every entry with what it comes to, and the total, in the job's own currency."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from wizard.quantities import printable
from wizard.record.report_lines import CostLine, Totals
from wizard.walk.desk import Desk
from wizard.walk.events import MinutesLogged
from wizard.walk.state import JobState


def cost_lines(desk: Desk, state: JobState) -> list[CostLine]:
    """Labour and parts in the order they were entered, those struck out too."""
    return list(_costs(desk, state))


def totals(state: JobState, lines: Iterable[CostLine]) -> Totals | None:
    """What stands comes to; None when nothing does."""
    standing = [line for line in lines if not line.struck]
    if not standing:
        return None
    minutes = sum(line.minutes or 0.0 for line in standing)
    rate = state.labour_per_hour
    labour = 0.0 if not minutes else None if rate is None else minutes / 60.0 * rate
    parts = sum(line.total or 0.0 for line in standing if line.minutes is None)
    total = None if labour is None else labour + parts
    return Totals(minutes=minutes, labour=labour, parts=parts, total=total)


def _costs(desk: Desk, state: JobState) -> Iterator[CostLine]:
    rate = state.labour_per_hour
    for cost in state.costs:
        entry = cost.entry
        if isinstance(entry, MinutesLogged):
            step = desk.flow.steps.get(entry.step or "")
            what = ": ".join(text for text in (step.title if step else "", printable(entry.work)) if text)
            yield CostLine(
                entry=cost.number,
                what=what or "Labour",
                minutes=entry.minutes,
                count=None,
                price=rate,
                total=None if rate is None else entry.minutes / 60.0 * rate,
                struck=cost.struck,
            )
        else:
            yield CostLine(
                entry=cost.number,
                what=printable(entry.what) or "Part",
                minutes=None,
                count=entry.count,
                price=entry.price,
                total=entry.count * entry.price,
                struck=cost.struck,
            )


def money(amount: float | None) -> str:
    """An amount in whatever currency the job is kept in; nothing where it is not known."""
    return "" if amount is None else f"{amount:,.2f}"


def show_minutes(minutes: float) -> str:
    """Minutes, or hours from two on."""
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"
