"""The crank timer: counts while start is held, says when to let go, and how long the starter must rest."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Static

from wizard.ui.keybar import Key
from wizard.ui.visit import Visit

# US Army TM 10-3930-671-24: crank no longer than 30 s, then rest 2 min. The maker's figure wins.
LONGEST_CRANK_S = 30.0
REST_S = 120.0
# As long as a step has start held: a reading has settled by then; common practice, no source.
HOLD_S = 5.0
_SAYS = f"The wizard says when {HOLD_S:.0f} s are over, and when to stop."


def rest_left_s(cranks: Iterable[tuple[datetime, float]], now: datetime) -> float:
    """Seconds that the starter must still rest after these cranks, each the time it ended and its seconds.

    Cranks without a full rest between them add up (common practice, no source: the heat does).
    """
    warm_s, last = 0.0, None
    for ended, seconds in cranks:
        if last is not None and ended - timedelta(seconds=seconds) - last >= timedelta(seconds=REST_S):
            warm_s = 0.0
        warm_s, last = warm_s + seconds, ended
    if last is None or warm_s < LONGEST_CRANK_S:
        return 0.0
    return max(0.0, REST_S - (now - last).total_seconds())


def clock(seconds: float) -> str:
    """`1:05` for 65 s."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


class CrankTimer(Visit[float]):
    """Gives the seconds that start was held; None when it was not."""

    DEFAULT_CSS = """
    CrankTimer #count { height: 5; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space", "press", show=False),
        Binding("a", "all_the_same", show=False),
    ]
    keys: ClassVar[list[Key]] = [("Enter", "start held, then let go"), ("Esc", "back")]
    about = f"It says when the {HOLD_S:.0f} s of a reading are over, when to let go, and when the starter has rested."

    def __init__(self, now: Callable[[], datetime], rest_s: float, cranks: int = 0, *, bell: bool = False) -> None:
        """`cranks` is how many were timed in this job; `bell` rings when to read, to let go and to crank again."""
        super().__init__()
        self.heading = f"Time crank {cranks + 1} of this job"
        self._now = now
        self._rest_s = rest_s
        self._bell = bell
        self._rung: set[float] = set()
        self._opened = now()
        self._held_since: datetime | None = None
        self._pressed_in_rest = False

    def body(self) -> ComposeResult:
        yield Static("", id="count", markup=False)

    def on_mount(self) -> None:
        self._tick()
        self.set_interval(0.2, self._tick)

    def action_press(self) -> None:
        """Start is held, or let go. Enter leaves a rest alone: pressed once too often, it would end it."""
        if self._held_since is not None:
            self.dismiss(self._held_s)
        elif self._rest_left_s > 0:
            self._pressed_in_rest = True
            self._tick()
        else:
            self._hold()

    def action_all_the_same(self) -> None:
        """Start is held although the starter should rest: on purpose, by a key of its own."""
        if self._held_since is None and self._rest_left_s > 0:
            self._hold()

    def _hold(self) -> None:
        self._held_since = self._now()
        self._tick()

    def action_leave(self) -> None:
        """A crank that was begun did happen, so leaving counts it."""
        self.dismiss(None if self._held_since is None else self._held_s)

    @property
    def _held_s(self) -> float:
        return 0.0 if self._held_since is None else (self._now() - self._held_since).total_seconds()

    def _tick(self) -> None:
        self._ring()
        self.query_one("#count", Static).update(self._counting() if self._held_since else self._waiting())
        self.show_keys([self._key, ("Esc", "back")])

    @property
    def _key(self) -> Key:
        if self._held_since is not None:
            return ("Enter", "start let go")
        return ("a", "crank all the same") if self._rest_left_s > 0 else ("Enter", "start held")

    def _ring(self) -> None:
        """Once each: when the starter has rested, when to read and when to let go."""
        if not self._bell:
            return
        due = {mark for mark in (HOLD_S, LONGEST_CRANK_S) if self._held_s >= mark}
        if self._held_since is None and self._rest_s > 0 >= self._rest_left_s:
            due.add(0.0)
        if due - self._rung:
            self.app.bell()
        self._rung |= due

    @property
    def _rest_left_s(self) -> float:
        return self._rest_s - (self._now() - self._opened).total_seconds()

    def _waiting(self) -> Content:
        rest = self._rest_left_s
        if rest > 0:
            key = "Enter does nothing while it rests" if self._pressed_in_rest else "If start must be held before that"
            return Content.assemble(
                ("! Let the starter rest ", "bold $warning"),
                (clock(rest), "bold"),
                f"\nIt has had {LONGEST_CRANK_S:.0f} s of cranking. The maker's figure wins over this one.\n",
                (f"{key}: a cranks all the same.", "bold" if self._pressed_in_rest else ""),
            )
        rested = "The starter has rested.\n" if self._rest_s > 0 else ""
        return Content(f"{rested}Press Enter as start is held, and Enter again as it is let go.\n{_SAYS}")

    def _counting(self) -> Content:
        held = self._held_s
        done = min(30, int(held))
        bar = "#" * done + "." * (30 - done)
        if held >= LONGEST_CRANK_S:
            word = ("! Let go now. Then let it rest for 2 minutes.", "bold $error")
        elif held >= HOLD_S:
            word = (f"~ {HOLD_S:.0f} s are over: read the meter and let go.", "bold $warning")
        else:
            word = ("Cranking. Read once the figure settles.", "")
        return Content.assemble(
            (f"{held:4.0f} s  ", "bold"), (bar, "$primary"), "\n", word, "\nEnter as start is let go."
        )
