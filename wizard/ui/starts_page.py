"""Starts counted over days, hot and cold apart, until a fault that comes and goes counts as gone."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.quantities import TEXT_MOST, capitalised, show_share, typed_text
from wizard.record.repair_words import follow_up_words
from wizard.ui.keybar import Key
from wizard.ui.logbook import Logbook
from wizard.ui.pick import Item
from wizard.walk.events import FollowUp, StartSeen, StartStruck
from wizard.walk.follow_up import COLD_A_DAY, COOLS_H, ENGINES, Engine, FollowUpView, Tally, cold_room, follow_up
from wizard.walk.state import JobState, Starts

if TYPE_CHECKING:
    from wizard.record.report_lines import RepairLine
    from wizard.record.session import Session

_ENGINE = {"cold": "cold engine", "hot": "hot engine"}
_ENGINES = [Item(engine, _ENGINE[engine]) for engine in ENGINES]
_HOW_MANY = "How many, and the day when it was not today: 3, or 3 2030-05-01."
_MOST = 10_000
# Entries that are listed; the record holds them all.
_LATEST = 6


class StartsPage(Logbook):
    """Counts good and failed starts and says how sure they make it that the fault is gone."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c", "good('cold')", show=False),
        Binding("h", "good('hot')", show=False),
        Binding("f", "failed", show=False),
        Binding("b", "before", show=False),
        Binding("t", "take_back", show=False),
        Binding("e", "end", show=False),
    ]
    keys: ClassVar[list[Key]] = [
        ("c", "good, cold"),
        ("h", "good, hot"),
        ("f", "it failed"),
        ("b", "before the repair"),
        ("t", "take back"),
        ("e", "end or reopen"),
        ("Esc", "back"),
    ]
    about = (
        "Count each start as it happens, over as many days as it takes. A cold engine is one that stood for hours. "
        "How often it failed before the repair says how many good starts in a row are enough."
    )

    def __init__(self, session: Session, today: date) -> None:
        super().__init__("Starts counted", session)
        self._today = today
        self._proofs: Sequence[RepairLine] | None = None

    def show_margin(self, proofs: Sequence[RepairLine]) -> None:
        """What the proof of the repair left in hand, once it is worked out."""
        self._proofs = proofs
        self.show(self.told())

    def told(self) -> Content:
        return starts_text(self.session.state, self._proofs)

    def action_good(self, engine: Engine) -> None:
        self._ask_times("Good starts", True, engine)

    def action_failed(self) -> None:
        self.pick("It failed to start: with which engine?", _ENGINES, lambda e: self._ask_times("It failed", False, e))

    def _ask_times(self, what: str, good: bool, engine: str, typed: str = "1") -> None:
        check = partial(read_times, today=self._today)

        def given(text: str) -> None:
            times, day = check(text)
            seen = StartSeen.model_validate({"good": good, "engine": engine, "times": times, "day": day})
            room = cold_room(self.session.state, day) if good and engine == "cold" else times
            if times > room:
                self._ask_cold(seen, room, partial(self._ask_times, what, good, engine, text))
            else:
                self._count(seen)

        self.ask(f"{what}, {_ENGINE[engine]}", _HOW_MANY, typed, check, given)

    def _count(self, *seen: StartSeen) -> None:
        state = self.session.state
        early = any(state.starts_as(one).early for one in seen)
        since = f" as before the repair of {state.repaired_on[-1]}" if early else ""
        self.put(f"Counted{since}: {'; '.join(_counted(one) for one in seen)}.", *seen)

    def _ask_cold(self, seen: StartSeen, room: int, again: Callable[[], None]) -> None:
        """More starts of one day than can have been cold: how they were is for the user to say."""
        hot = seen.model_copy(update={"engine": "hot", "times": seen.times - room})
        cold = [seen.model_copy(update={"times": room})] if room else []
        items = [
            Item("some", f"{room or 'None'} cold, a day has about {COLD_A_DAY}: count {hot.times} as hot"),
            Item("days", "They were on several days: enter them day by day"),
            Item("all", f"All {seen.times} were cold: it stood for hours before each"),
        ]

        def told(how: str) -> None:
            if how == "some":
                self._count(*cold, hot)
            elif how == "all":
                self._count(seen)
            else:
                again()

        # One line has room for no more.
        heading = f"{seen.times} good, cold, {seen.day}: it takes {COOLS_H} h at rest. Were they cold?"
        self.pick(heading, items, told, again)

    def action_before(self) -> None:
        self.pick("How often did it fail before the repair: with which engine?", _ENGINES, self._ask_before)

    def _ask_before(self, engine: str) -> None:
        def given(text: str) -> None:
            failed, tries = read_share(text)
            shared = {"engine": engine, "before_repair": bool(self.session.state.repairs)}
            told = [(False, failed), (True, tries - failed)]
            events = [StartSeen.model_validate({**shared, "good": good, "times": n}) for good, n in told if n]
            self.put(f"Before the repair, {_ENGINE[engine]}: it failed {failed} of {tries} times.", *events)

        hint = "As the driver remembers it: 3 of 10 says that three tries in ten failed."
        self.ask(f"Before the repair, {_ENGINE[engine]}", hint, "", read_share, given)

    def action_take_back(self) -> None:
        standing = [starts for starts in self.session.state.starts if not starts.struck]
        if not standing:
            self.say("There is nothing to take back.")
            return
        items = [Item(str(starts.number), _entry(starts)) for starts in reversed(standing)]
        self.pick(
            "Take back which? It stays in the record and counts for nothing.",
            items,
            lambda number: self.put(f"Entry {number} is taken back.", StartStruck(entry=int(number))),
        )

    def action_end(self) -> None:
        view = follow_up(self.session.state)
        if view.status == "no-repair":
            self.say("Nothing is followed up yet: no repair is recorded.")
        elif view.status == "closed":
            self.put("The follow-up is open again.", FollowUp(open=True))
        else:
            self.ask(
                "End the follow-up",
                "Why: enough starts, handed over, sold. You can open it again at any time.",
                "",
                partial(typed_text, most=TEXT_MOST),
                lambda why: self.put("The follow-up is ended.", FollowUp(open=False, why=why)),
            )


def starts_text(state: JobState, proofs: Sequence[RepairLine] | None) -> Content:
    """Where the counting stands, what the repair left in hand, and the latest entries."""
    view = follow_up(state)
    lines = [Content.styled(_stands(view, proofs), "bold"), Content("")]
    lines.append(Content.styled(f"{'':30}{'cold engine':>14}{'hot engine':>14}", "bold $primary"))
    cold, hot = view.tallies
    lines += [Content(f"{name:30}{one:>14}{other:>14}") for name, one, other in _rows(cold, hot, bool(state.repairs))]
    if view.status == "uncounted":
        lines.append(Content("\nb tells how often it failed before: without that no number of starts shows anything."))
    if state.repairs:
        lines += [Content.styled("\nMargin since the repair", "bold $primary"), *_margin(proofs)]
    if state.starts:
        lines.append(Content.styled("\nLatest entries", "bold $primary"))
        lines += [Content.styled(_entry(s), "strike" if s.struck else "") for s in state.starts[-_LATEST:]]
    return Content("\n").join(lines)


def _stands(view: FollowUpView, proofs: Sequence[RepairLine] | None) -> str:
    if view.status == "no-repair":
        return "No repair is recorded yet: what you count now tells how often it fails."
    if view.status == "shown" and proofs is None:
        return "Enough good starts were counted. What the readings say beside them is being worked out."
    return follow_up_words(view, proofs[-1].unsettled if proofs else [])


def _rows(cold: Tally, hot: Tally, repaired: bool) -> list[tuple[str, str, str]]:
    def row(name: str, *values: str) -> tuple[str, str, str]:
        return name, values[0], values[1]

    both = (cold, hot)
    before = [f"{t.failed_before} of {t.tries_before}" if t.tries_before else "not told" for t in both]
    if not repaired:
        now = [f"{t.failed_since} of {t.failed_since + t.in_a_row}" for t in both]
        return [row("Failed, of tries", *now)]
    return [
        row("Failed before, of tries", *before),
        row("Failed since", *(str(t.failed_since) for t in both)),
        row("Good in a row since", *(str(t.in_a_row) for t in both)),
        row("Still to go for 90 %", *(_to_go(t.needed_likely, t) for t in both)),
        row("Still to go for 95 %", *(_to_go(t.needed_sure, t) for t in both)),
        row("Sure by now, by starts alone", *(show_share(t.confidence) or "-" for t in both)),
        row("Days", *(str(len(t.days)) for t in both)),
    ]


def _to_go(needed: int | None, tally: Tally) -> str:
    if needed is None:
        return "-"
    left = max(0, needed - tally.in_a_row)
    return f"{left} of {needed}" if left else "reached"


def _margin(proofs: Sequence[RepairLine] | None) -> list[Content]:
    if proofs is None:
        return [Content("Working it out.")]
    read = [span for span in proofs[-1].spans if span.margin] if proofs else []
    if not read:
        return [Content("No span was measured again since the repair.")]
    lines: list[Content] = []
    for span in read:
        lines.append(Content(f"{capitalised(span.span)}:"))
        lines.append(Content(f"  {span.after}, limit {span.limit}: {span.margin}"))
    return lines


def _entry(starts: Starts) -> str:
    when = ", before the repair" if starts.seen.before_repair or starts.early else ""
    return f"{starts.number:3}. {_counted(starts.seen)}{when}{', taken back' if starts.struck else ''}"


def _counted(seen: StartSeen) -> str:
    day = f", {seen.day}" if seen.day else ""
    return f"{seen.times} {'good' if seen.good else 'failed'}, {_ENGINE[seen.engine]}{day}"


def read_times(text: str, today: date) -> tuple[int, date]:
    """Read `3` or `3 2030-05-01`. Raises ValueError."""
    number, _, day = text.replace(",", " ").strip().partition(" ")
    times = _whole(number)
    if not day.strip():
        return times, today
    try:
        then = date.fromisoformat(day.strip())
    except ValueError:
        raise ValueError("write the day as year, month and day: 2030-05-01") from None
    if then > today:
        raise ValueError(f"{then} is still to come")
    return times, then


def read_share(text: str) -> tuple[int, int]:
    """Read `3 of 10`: failed, and tries. Raises ValueError."""
    parts = re.fullmatch(r"\s*(\d{1,6})\s*(?:of|/)\s*(\d{1,6})\s*", text)
    if parts is None:
        raise ValueError("write failed tries and all tries: 3 of 10")
    failed, tries = int(parts[1]), _whole(parts[2])
    if failed > tries:
        raise ValueError(f"{failed} of {tries} can't have failed")
    return failed, tries


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:6]) <= _MOST or len(text) > 6:
        raise ValueError(f"write how many, a whole number from 1 to {_MOST}")
    return int(text)
