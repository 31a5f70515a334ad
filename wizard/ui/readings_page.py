"""All readings of a job: take one back, or correct it."""

from __future__ import annotations

from typing import ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.geometry import Size
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from wizard.quantities import show_amps, show_band, show_volts
from wizard.ui.fit import shortened, two_in
from wizard.ui.keybar import Key
from wizard.ui.visit import Visit
from wizard.walk.assessment import JudgedReading
from wizard.walk.drawing import reading_drop, short_name

# What to do with which reading.
What = Literal["strike", "correct", "again", "remark"]
Deed = tuple[What, int]


class ReadingsPage(Visit[Deed]):
    """Gives what to do with the reading that the bar is on."""

    DEFAULT_CSS = """
    ReadingsPage > #sheet { width: 100%; max-width: 110; }
    ReadingsPage OptionList { border: none; padding: 0; background: $surface; max-height: 16; }
    ReadingsPage OptionList:focus { border: none; background-tint: $foreground 0%; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "deed('strike')", show=False),
        Binding("c", "deed('correct')", show=False),
        Binding("a", "deed('again')", show=False),
        Binding("n", "deed('remark')", show=False),
        Binding("question_mark", "app.help_here", show=False),
    ]
    heading = "Readings taken"
    keys: ClassVar[list[Key]] = [
        ("Up Down", "choose"),
        ("t", "take it back"),
        ("c", "correct it"),
        ("a", "read it again"),
        ("n", "note on it"),
        ("Esc", "back"),
    ]

    def __init__(self, readings: list[JudgedReading], here: int | None = None) -> None:
        super().__init__()
        self._readings = readings
        self._here = here

    def body(self) -> ComposeResult:
        if not self._readings:
            yield Static("None yet.", markup=False)
            return
        width = max(len(with_unit(reading)) for reading in self._readings)
        yield OptionList(*(Option(reading_line(r, width), id=str(r.id)) for r in self._readings), markup=False)

    def on_mount(self) -> None:
        if self._readings:
            options = self.query_one(OptionList)
            numbers = [reading.id for reading in self._readings]
            options.highlighted = numbers.index(self._here) if self._here in numbers else len(numbers) - 1
            options.styles.max_height = max(3, self.app.size.height - 5)

    def action_deed(self, deed: What) -> None:
        if not self._readings:
            return
        option = self.query_one(OptionList).highlighted_option
        if option is not None and option.id is not None:
            reading = next(r for r in self._readings if str(r.id) == option.id)
            if not (reading.struck and deed == "strike"):
                self.dismiss((deed, reading.id))


def reading_line(reading: JudgedReading, width: int = 7) -> Content:
    """One reading on a line: number, what it shows in so many columns, how it stands, when and where it was taken."""
    drop = reading_drop(reading)
    where = where_read(reading)
    state = "start held" if reading.state == "cranking" else "at rest"
    said = drop.mark_and_word if not reading.struck else "taken back"
    before = "  before the repair" if reading.before_repair else ""
    doubt = "  in doubt: read it again" if reading.in_doubt and not reading.struck else ""
    failing = "  while it failed" if reading.acting_up else ""
    note = f"  {reading.note}" if reading.note and reading.note != said else ""
    # No colour: the bar that chooses a line turns them about.
    style = "strike" if reading.struck else ""
    return Content.assemble(
        (f"{reading.id:3}  {with_unit(reading):>{width}}  {said:10}  ", style),
        (f"{state:10}  {where}", style),
        (f"{before}{failing}{doubt}{note}", "italic"),
    )


def where_read(reading: JudgedReading) -> str:
    """Where a reading was taken."""
    if reading.clamp is not None:
        return f"clamp around {short_name(reading.clamp)}"
    return f"{short_name(reading.red or '')} to {short_name(reading.black or '')}"


def latest_readings(readings: list[JudgedReading], room: Size) -> Content:
    """As many of the readings that stand as there is room for, the latest last, a line each."""
    shown = [r for r in readings if not r.struck][-max(1, room.height - 1) :]
    lines = [_brief(reading, room.width) for reading in shown]
    return Content("\n").join([Content.styled("READINGS", "bold $primary"), *lines])


def _brief(reading: JudgedReading, width: int) -> Content:
    """One reading in little room."""
    mark = "?" if reading.in_doubt else reading_drop(reading).verdict.mark
    value = f"{reading.id:2} {with_unit(reading):>7} {mark} "
    return Content.assemble((value, "bold"), (_where(reading, width - len(value)), "$secondary"))


def _where(reading: JudgedReading, width: int) -> str:
    if reading.clamp is not None:
        return shortened(short_name(reading.clamp), width)
    return two_in(short_name(reading.red or ""), short_name(reading.black or ""), width)


def with_unit(reading: JudgedReading) -> str:
    """What it shows: of several cranks, the least and the most."""
    if reading.clamp is not None:
        return show_amps(reading.amps or 0.0)
    if reading.range_v is not None:
        return show_band(*reading.range_v)
    return "open" if reading.volts is None else show_volts(reading.volts)
