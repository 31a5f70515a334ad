"""Labour and parts: minutes on steps, parts with their price, and what they come to in the job's own currency."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.quantities import TEXT_MOST, parse_number, parse_quantity, typed_text
from wizard.record.costs import cost_lines, money, show_minutes, totals
from wizard.record.report_lines import CostLine
from wizard.ui.fit import cut
from wizard.ui.keybar import Key
from wizard.ui.logbook import Logbook
from wizard.ui.pick import Item
from wizard.walk.desk import Desk
from wizard.walk.events import CostStruck, LabourPriced, MinutesLogged, PartPriced
from wizard.walk.state import Cost, JobState

if TYPE_CHECKING:
    from wizard.record.session import Session

# Columns of what it is and of each figure; they fit a screen of eighty.
_WHAT, _EACH, _TOTAL = 44, 16, 12
_OTHER = "other"
_HOUR = "hour"
# A number, its unit where one is written, and what was done.
_MINUTES = re.compile(r"\s*([-+]?[\d.,]+)\s*(?:(minutes|min|h)\b)?[\s,:]*(.*)", re.DOTALL)


class CostsPage(Logbook):
    """Lists labour and parts with their total."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("m", "minutes", show=False),
        Binding("p", "part", show=False),
        Binding("h", "hour", show=False),
        Binding("e", "change", show=False),
        Binding("t", "take_back", show=False),
    ]
    keys: ClassVar[list[Key]] = [
        ("m", "minutes"),
        ("p", "part"),
        ("h", "hour's price"),
        ("e", "change"),
        ("t", "take back"),
        ("Esc", "back"),
    ]
    about = (
        "Prices are in whatever currency you keep the job in. What you change or take back stays in the record, struck "
        "out."
    )

    def __init__(self, session: Session, here: str | None) -> None:
        """`here` is the step that is worked on now, the first to choose."""
        super().__init__("Labour and parts", session)
        self._here = here

    def told(self) -> Content:
        return costs_text(self.session.desk, self.session.state)

    def action_minutes(self) -> None:
        steps = self.session.desk.flow.steps
        names = [name for name in (self._here, *steps) if name in steps]
        items = [Item(name, steps[name].title) for name in dict.fromkeys(names)]
        self.pick("Minutes on which step?", [*items, Item(_OTHER, "Other work")], self._ask_minutes)

    def _ask_minutes(self, step: str, was: Cost | None = None) -> None:
        def given(text: str) -> None:
            minutes, work = read_minutes(text)
            named = None if step == _OTHER else step
            self._enter(show_minutes(minutes), MinutesLogged(minutes=minutes, step=named, work=work), was)

        hint = "How many, and what was done if you like: 25 cleaned the clamp."
        before = was.entry if was else None
        told = f"{before.minutes:g} {before.work}".strip() if isinstance(before, MinutesLogged) else ""
        self.ask("Minutes", hint, told, read_minutes, given)

    def action_part(self) -> None:
        self._ask_part()

    def _ask_part(self, was: Cost | None = None) -> None:
        """The name, the price of one and how many, with what an entry that is changed has said so far."""
        before = was.entry if was and isinstance(was.entry, PartPriced) else None

        def named(what: str) -> None:
            hint = "The price of one, in your currency."
            told = f"{before.price:g}" if before else ""
            self.ask(what, hint, told, _price, lambda price: priced(what, price))

        def priced(what: str, price: str) -> None:
            told = f"{before.count:g}" if before else "1"
            self.ask(what, "How many.", told, _count, lambda count: counted(what, price, count))

        def counted(what: str, price: str, count: str) -> None:
            self._enter(what, PartPriced(what=what, price=_price(price), count=_count(count)), was)

        self.ask("Part", "What was fitted or used up.", before.what if before else "", _name, named)

    def _enter(self, what: str, entry: MinutesLogged | PartPriced, was: Cost | None) -> None:
        """A new entry; one that it takes the place of is struck out first."""
        if was is None:
            self.put(f"Entered: {what}.", entry)
        elif was.entry == entry:
            self.say("It says the same as before.")
        else:
            self.put(f"Entry {was.number} is struck out; in its place: {what}.", CostStruck(entry=was.number), entry)

    def action_change(self) -> None:
        def change(number: str) -> None:
            if number == _HOUR:
                self.action_hour()
                return
            was = self.session.state.costs[int(number) - 1]
            if isinstance(was.entry, MinutesLogged):
                self._ask_minutes(was.entry.step or _OTHER, was)
            else:
                self._ask_part(was)

        self._pick_entry("Change which? What it said before stays in the record, struck out.", change)

    def action_hour(self) -> None:
        was = self.session.state.labour_per_hour

        def given(text: str) -> None:
            self.put("The price of an hour holds for the whole job.", LabourPriced(per_hour=_price(text)))

        hint = "What an hour of labour costs, in your currency."
        self.ask("Price of an hour", hint, "" if was is None else f"{was:g}", _price, given)

    def action_take_back(self) -> None:
        def take_back(number: str) -> None:
            state = self.session.state
            if number == _HOUR:
                self.put(
                    f"Taken back: the price of an hour, {money(state.labour_per_hour)}.", LabourPriced(per_hour=None)
                )
            else:
                line = cost_lines(self.session.desk, state)[int(number) - 1]
                self.put(f"Taken back: {number}. {line.what}, {_much(line)}.", CostStruck(entry=line.entry))

        self._pick_entry("Take back which? It stays in the record and counts for nothing.", take_back)

    def _pick_entry(self, heading: str, use: Callable[[str], None]) -> None:
        """One of the entries that stand, the latest first, or the price of an hour."""
        state = self.session.state
        lines = [line for line in cost_lines(self.session.desk, state) if not line.struck]
        items = [Item(str(line.entry), f"{line.entry:3}. {line.what}", money(line.total)) for line in reversed(lines)]
        if state.labour_per_hour is not None:
            items.append(Item(_HOUR, "     Price of an hour", money(state.labour_per_hour)))
        if items:
            self.pick(heading, items, use)
        else:
            self.say("Nothing is entered yet.")


def costs_text(desk: Desk, state: JobState) -> Content:
    """Every entry on a line, and what those that stand come to."""
    entered = cost_lines(desk, state)
    rate = state.labour_per_hour
    if not entered:
        so_far = (
            "Nothing is entered yet." if rate is None else f"An hour of labour costs {money(rate)}; no minutes yet."
        )
        return Content(f"{so_far}\n\nm logs minutes on a step, p enters a part with its price.")
    lines = [Content.styled(_line("What", "Each", "Total"), "bold $primary")]
    lines += [Content.styled(_entry(line), "strike" if line.struck else "") for line in entered]
    total = totals(state, entered)
    if total is None and rate is not None:
        lines += [Content(""), Content(_line("Labour", f"{money(rate)} an hour", ""))]
    if total is not None:
        lines.append(Content(""))
        labour = money(total.labour) if total.labour is not None else "no price"
        hour = "" if rate is None else f"{money(rate)} an hour"
        lines.append(Content(_line(f"Labour, {show_minutes(total.minutes)}", hour, labour)))
        lines.append(Content(_line("Parts", "", money(total.parts))))
        if total.total is not None:
            lines.append(Content.styled(_line("Total", "", money(total.total)), "bold"))
        else:
            lines.append(Content("h says what an hour costs; then there is a total."))
    return Content("\n").join(lines)


def _entry(line: CostLine) -> str:
    if line.struck:
        return _line(f"{line.entry:3}. {line.what}", "taken back", "")
    return _line(f"{line.entry:3}. {line.what}", _much(line), money(line.total))


def _much(line: CostLine) -> str:
    """How many minutes, or how many of a part at what price."""
    return show_minutes(line.minutes) if line.minutes is not None else f"{line.count:g} x {money(line.price)}"


def _line(what: str, each: str, total: str) -> str:
    return f"{cut(what, _WHAT)}  {each:>{_EACH}}{total:>{_TOTAL}}"


def read_minutes(text: str) -> tuple[float, str]:
    """Read `25`, `1.5 h` or `25 cleaned the clamp`: minutes, and what was done. Raises ValueError."""
    found = _MINUTES.fullmatch(text)
    if found is None:
        raise ValueError("write the minutes first: 25, or 25 cleaned the clamp")
    minutes = parse_quantity(f"{found[1]} {found[2] or ''}", "minutes", bare=1.0)
    if not 0 < minutes <= 10_000:
        raise ValueError("minutes above 0 and up to 10000 are read")
    return minutes, typed_text(found[3], TEXT_MOST)


def _name(text: str) -> str:
    name = typed_text(text, TEXT_MOST)
    if not name:
        raise ValueError("say what it is")
    return name


def _price(text: str) -> float:
    price = parse_number(text)
    if not 0 <= price <= 1e6:
        raise ValueError("prices from 0 to 1000000 are read")
    return price


def _count(text: str) -> float:
    count = parse_number(text)
    if not 0 < count <= 10_000:
        raise ValueError("a count above 0 and up to 10000 is read")
    return count
