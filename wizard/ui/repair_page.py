"""A repair before it is done: the order of work, sizes to choose from, and what the spans will read after it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, ClassVar

from textual.app import App
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content

from wizard.circuit.circuit import Circuit
from wizard.circuit.conductors import Conductor
from wizard.circuit.map import PartChange, RepairKind
from wizard.errors import DropwalkError
from wizard.files import shelf
from wizard.quantities import Size, capitalised, parse_quantity, show_length, show_volts
from wizard.record.repair_words import (
    MARKS,
    SizeLine,
    effort_words,
    foreseen_words,
    laid_lines,
    metal_words,
    size_lines,
)
from wizard.repair.advice import Advice, advise
from wizard.repair.sizing import COPPER_CLAD_WARNING, Candidate, Replacement, replacement
from wizard.ui.ask_text import AskText
from wizard.ui.keybar import Key
from wizard.ui.pick import Item, Pick
from wizard.ui.visit import Page
from wizard.walk.assessment import Assessment
from wizard.walk.desk import Desk
from wizard.walk.proof import Foretold

Fitted = Mapping[str, PartChange]
WAITING = "Working out what the spans will read after it."
_TYPED = "typed"
# What stands between; a comma between figures is the decimal one of `1,4 m`.
_BETWEEN = re.compile(r";|,(?!\d)|(?<!\d),")


class RepairPage(Page):
    """Gives True when the repair is said to be done, with what is `fitted`; None until a size has been chosen."""

    DEFAULT_CSS = """
    RepairPage > #sheet { max-width: 100; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "done", show=False),
        Binding("i", "size", show=False),
    ]
    about = "The order is common practice; the maker's procedure, torque and safety instructions come first."

    def __init__(
        self,
        desk: Desk,
        assessment: Assessment,
        repair: str,
        predict: Callable[[Fitted | None], None],
        *,
        inch: bool,
    ) -> None:
        """`predict` is called when a size has been chosen; its answer comes to `show_foreseen`."""
        self._desk, self._assessment, self._predict, self._inch = desk, assessment, predict, inch
        self.fitted: Fitted | None = None
        self._advice = advise(desk.circuit, shelf.repairs(), repair)
        self._foreseen: list[Foretold] | None = None
        super().__init__(capitalised(self._advice.label), self._told())
        self.keys: list[Key] = [  # pyright: ignore[reportIncompatibleVariableOverride]
            ("Up Down", "scroll"),
            *([("i", "choose a size")] if self._advice.replaces else []),
            ("Enter", "read on, then: the repair is done"),
            ("Esc", "back"),
        ]

    def show_foreseen(self, foreseen: Iterable[Foretold]) -> None:
        """The prediction, once it is worked out."""
        self._foreseen = list(foreseen)
        self.show(self._told())

    def _told(self) -> Content:
        return repair_text(
            self._desk, self._assessment, self._advice, self.fitted or {}, self._foreseen, inch=self._inch
        )

    def action_done(self) -> None:
        if self.at_end():
            self.dismiss(True)

    def action_size(self) -> None:
        if self._advice.replaces:
            ask_fitted(self.app, self._desk, self._advice.repair, self._put_in, inch=self._inch)

    def _put_in(self, fitted: Fitted) -> None:
        self.fitted, self._foreseen = fitted, None
        self.show(self._told())
        self.query_one(VerticalScroll).scroll_home(animate=False)
        self._predict(fitted)


def repair_text(
    desk: Desk,
    assessment: Assessment,
    advice: Advice,
    fitted: Fitted,
    foreseen: list[Foretold] | None,
    *,
    inch: bool = False,
) -> Content:
    """All about one repair, the work first; `foreseen` is None while it is being worked out.

    Once a size was chosen, what it will read comes first.
    """
    lines: list[Content] = [Content(text) for text in _effort(desk.circuit, advice)]
    chosen = [_change_words(desk.circuit, name, change, inch=inch) for name, change in fitted.items()]
    with_it = f" with {', '.join(chosen)}" if chosen else ", with a new one like it" if advice.replaces else ""
    told = [WAITING] if foreseen is None else [_foreseen(desk.circuit, band) for band in foreseen]
    if any(change.conductor is Conductor.COPPER_CLAD_ALUMINIUM for change in fitted.values()):
        told.append(f"! {COPPER_CLAD_WARNING}")
    predicted = _section(f"What the spans will read after it{with_it}, nine times in ten", told)
    lines += predicted if chosen else []
    lines += _section("What to do, in this order", [f"{n}. {line}" for n, line in enumerate(advice.order, 1)])
    lines += _section("Tools", [", ".join(advice.tools)] if advice.tools else [])
    lines += _section("Look at, once it is open", [f"- {line}" for line in advice.look])
    lines += _section("When that will not do", [f"- {line}" for line in advice.not_enough])
    lines += predicted if not chosen else []
    for part in advice.replaces:
        lines += _section(f"Size: {desk.circuit.parts[part].part.label}", _sizes(desk, assessment, part, inch=inch))
    for part in advice.lays:
        label = desk.circuit.parts[part].part.label
        lines += _section(f"Size: a cable beside {label}", _aligned(laid_lines(desk, assessment, part, inch=inch)))
    return Content("\n").join(lines)


def _effort(circuit: Circuit, advice: Advice) -> list[str]:
    if not advice.order:
        return ["Nothing is to be done."]
    usual = effort_words(advice.minutes, advice.cost)
    if circuit.repairs[advice.repair].kind is RepairKind.HAND_OVER:
        usual = f"This is for someone else's hands. {usual}".strip()
    return [usual] if usual else []


def _section(heading: str, lines: list[str]) -> list[Content]:
    return [Content.styled(f"\n{heading}", "bold $primary"), *(Content(line) for line in lines)] if lines else []


def _sizes(desk: Desk, assessment: Assessment, part: str, *, inch: bool) -> list[str]:
    return _aligned(size_lines(desk, assessment, part, inch=inch))


def _aligned(lines: list[SizeLine]) -> list[str]:
    heads = [about if about in MARKS else f"{about + ':':10}" if about else "" for about, _ in lines]
    return [f"{head} {said}".strip() for head, (_, said) in zip(heads, lines, strict=True)]


def _foreseen(circuit: Circuit, told: Foretold) -> str:
    figure, where = foreseen_words(circuit, told)
    return f"{figure:>16}  {where}"


def ask_fitted(app: App[Any], desk: Desk, repair: str, use: Callable[[Fitted], None], *, inch: bool) -> None:
    """Ask which size each cable that this repair replaces is of, then `use` the ones that differ from what is there."""
    _ask_next(app, desk, list(advise(desk.circuit, shelf.repairs(), repair).replaces), {}, use, inch=inch)


def _ask_next(
    app: App[Any],
    desk: Desk,
    parts: list[str],
    fitted: dict[str, PartChange],
    use: Callable[[Fitted], None],
    *,
    inch: bool,
) -> None:
    if not parts:
        use(fitted)
        return
    part, *others = parts
    offers = _offers(desk, part)
    label = desk.circuit.parts[part].part.label

    def taken(change: PartChange | None) -> None:
        more = {part: change} if change is not None else {}
        _ask_next(app, desk, others, {**fitted, **more}, use, inch=inch)

    def picked(ids: tuple[str, ...] | None) -> None:
        if not ids:
            return
        if ids[0] != _TYPED:
            taken(offers[ids[0]][1])
            return
        was = _words(desk.circuit, part, PartChange(), inch=inch)
        hint = "Length, size and metal: 1.4 m, 25 mm2, copper or 55 in, 2 AWG, tinned copper."
        app.push_screen(
            AskText(f"Fitted: {label}", hint, was, read_cable),
            lambda text: taken(read_cable(text)) if text is not None else None,
        )

    items = [
        Item(name, _words(desk.circuit, part, change or PartChange(), inch=inch), remark)
        for name, (remark, change) in offers.items()
    ]
    app.push_screen(Pick(f"What is fitted: {label}?", [*items, Item(_TYPED, "Another one: type it")]), picked)


def _offers(desk: Desk, part: str) -> dict[str, tuple[str, PartChange | None]]:
    """The same as is there, what the map has, and the sizes that do; the remark beside each."""
    offers: dict[str, tuple[str, PartChange | None]] = {"same": ("as it was", None)}
    try:
        sized: Replacement = replacement(desk.circuit, desk.limits, part)
    except DropwalkError:
        return offers
    here, mapped = desk.circuit.parts[part].part, desk.circuit.map.parts[part]
    seen = {(here.size, here.conductor)}
    wanted: list[tuple[str, Candidate]] = []
    if mapped.size is not None:
        wanted.append(("as the map has it", sized.standard))
    wanted += [(f"loses {show_volts(choice.drop_v)} at worst", choice) for choice in sized.choices]
    for remark, choice in wanted:
        if (choice.size, choice.conductor) not in seen:
            seen.add((choice.size, choice.conductor))
            change = PartChange(length_m=here.length_m, size=choice.size, conductor=choice.conductor)
            offers[f"{choice.size} {choice.conductor}"] = (remark, change)
    return offers


def read_cable(text: str) -> PartChange:
    """Read `1.4 m, 25 mm2, copper`; without a metal it is copper. Raises ValueError."""
    parts = [part.strip() for part in _BETWEEN.split(text) if part.strip()]
    if len(parts) not in (2, 3):
        raise ValueError("write length, size and metal with commas between: 1.4 m, 25 mm2, copper")
    length_m = parse_quantity(parts[0], "metres")
    if not 0.01 <= length_m <= 100:
        raise ValueError(f"{length_m:g} m is no length for this; 1 cm to 100 m are read")
    metal = parts[2].lower().replace(" ", "-").replace("aluminum", "aluminium") if len(parts) == 3 else "copper"
    if metal not in {str(known) for known in Conductor}:
        known = ", ".join(metal_words(conductor) for conductor in Conductor)
        raise ValueError(f"{parts[2][:40]!r} is no metal that is known here; write {known}")
    return PartChange(length_m=length_m, size=Size.parse(parts[1]), conductor=Conductor(metal))


def _words(circuit: Circuit, part: str, change: PartChange, *, inch: bool) -> str:
    here = circuit.parts[part].part
    length, size = change.length_m or here.length_m, change.size or here.size
    if length is None or size is None:
        return "the same"
    metal = metal_words(change.conductor or here.conductor)
    return f"{show_length(length, inch=inch)}, {size}, {metal}"


def _change_words(circuit: Circuit, part: str, change: PartChange, *, inch: bool) -> str:
    return f"{circuit.parts[part].part.label} of {_words(circuit, part, change, inch=inch)}"
