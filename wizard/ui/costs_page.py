"""Labour and parts: minutes on steps, parts with their price, and what they come to in the job's own currency."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.quantities import TEXT_MOST, parse_number, parse_quantity, typed_text
from wizard.record.report import CostLine, cost_lines, totals
from wizard.record.report_files import money, show_minutes
from wizard.ui.fit import cut
from wizard.ui.keybar import Key
from wizard.ui.logbook import Logbook
from wizard.ui.pick import Item
from wizard.walk.desk import Desk
from wizard.walk.events import CostStruck, LabourPriced, MinutesLogged, PartPriced
from wizard.walk.state import JobState

if TYPE_CHECKING:
    from wizard.record.session import Session

# Columns of what it is and of each figure; they fit a screen of eighty.
_WHAT, _EACH, _TOTAL = 44, 16, 12
_OTHER = "other"
# A number, its unit where one is written, and what was done.
_MINUTES = re.compile(r"\s*([-+]?[\d.,]+)\s*(?:(minutes|min|h)\b)?[\s,:]*(.*)", re.DOTALL)


class CostsPage(Logbook):
    """Lists labour and parts with their total."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("m", "minutes", show=False),
        Binding("p", "part", show=False),
        Binding("h", "hour", show=False),
        Binding("t", "take_back", show=False),
    ]
    keys: ClassVar[list[Key]] = [
        ("m", "minutes"),
        ("p", "part"),
        ("h", "price of an hour"),
        ("t", "take back"),
        ("Esc", "back"),
    ]
    about = "Prices are in whatever currency you keep the job in. What you take back stays in the record, struck out."

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

    def _ask_minutes(self, step: str) -> None:
        def given(text: str) -> None:
            minutes, work = read_minutes(text)
            named = None if step == _OTHER else step
            self.put(f"Logged: {show_minutes(minutes)}.", MinutesLogged(minutes=minutes, step=named, work=work))

        self.ask("Minutes", "How many, and what was done if you like: 25 cleaned the clamp.", "", read_minutes, given)

    def action_part(self) -> None:
        self.ask("Part", "What was fitted or used up.", "", _name, self._ask_price)

    def _ask_price(self, what: str) -> None:
        def price_of(text: str) -> None:
            self.ask(what, "How many.", "1", _count, lambda count: fitted(_price(text), _count(count)))

        def fitted(price: float, count: float) -> None:
            self.put(f"Entered: {what}.", PartPriced(what=what, price=price, count=count))

        self.ask(what, "The price of one, in your currency.", "", _price, price_of)

    def action_hour(self) -> None:
        was = self.session.state.labour_per_hour

        def given(text: str) -> None:
            self.put("The price of an hour holds for the whole job.", LabourPriced(per_hour=_price(text)))

        hint = "What an hour of labour costs, in your currency."
        self.ask("Price of an hour", hint, "" if was is None else f"{was:g}", _price, given)

    def action_take_back(self) -> None:
        lines = [line for line in cost_lines(self.session.desk, self.session.state) if not line.struck]
        if not lines:
            self.say("There is nothing to take back.")
            return
        self.pick(
            "Take back which? It stays in the record and counts for nothing.",
            [Item(str(line.entry), f"{line.entry:3}. {line.what}", money(line.total)) for line in reversed(lines)],
            lambda entry: self.put(f"Entry {entry} is taken back.", CostStruck(entry=int(entry))),
        )


def costs_text(desk: Desk, state: JobState) -> Content:
    """Every entry on a line, and what those that stand come to."""
    entered = cost_lines(desk, state)
    if not entered:
        return Content("Nothing is entered yet.\n\nm logs minutes on a step, p enters a part with its price.")
    lines = [Content.styled(_line("What", "Each", "Total"), "bold $primary")]
    lines += [Content.styled(_entry(line), "strike" if line.struck else "") for line in entered]
    total = totals(state, entered)
    if total is not None:
        lines.append(Content(""))
        labour = money(total.labour) if total.labour is not None else "no price"
        lines.append(Content(_line(f"Labour, {show_minutes(total.minutes)}", "", labour)))
        lines.append(Content(_line("Parts", "", money(total.parts))))
        if total.total is not None:
            lines.append(Content.styled(_line("Total", "", money(total.total)), "bold"))
        else:
            lines.append(Content("h says what an hour costs; then there is a total."))
    return Content("\n").join(lines)


def _entry(line: CostLine) -> str:
    if line.struck:
        return _line(f"{line.entry:3}. {line.what}", "taken back", "")
    much = show_minutes(line.minutes) if line.minutes is not None else f"{line.count:g} x {money(line.price)}"
    return _line(f"{line.entry:3}. {line.what}", much, money(line.total))


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
