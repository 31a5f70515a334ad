"""Settings: what each line is now; Enter changes it, and it is kept at once."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from wizard.diagnosis.priors import Meter
from wizard.files.settings import Layout, Light, Settings, Units, Way
from wizard.quantities import parse_number, parse_quantity
from wizard.ui.ask_text import AskText
from wizard.ui.keybar import Key
from wizard.ui.visit import Visit

if TYPE_CHECKING:
    from wizard.ui.app import DropwalkApp

_WORDS: dict[StrEnum, str] = {
    Way.WALK: "follow the walk, step by step",
    Way.FASTEST: "the best next test, without lessons",
    Light.DARK: "dark, for a dim bay",
    Light.LIGHT: "light, for sunlight",
    Units.METRIC: "metres and degrees C",
    Units.INCH: "inches and degrees F",
    Layout.USUAL: "step and drawing together",
    Layout.LARGE: "large: the step alone, with big figures",
    Layout.SPOKEN: "spoken: lines of words, plain characters",
}
_CHOICES: dict[str, tuple[str, type[StrEnum]]] = {
    "plan": ("Way of working", Way),
    "light": ("Colours", Light),
    "units": ("Lengths and air", Units),
    "layout": ("Layout", Layout),
}


class SettingsPage(Visit[bool]):
    """Each line changes to its next value; the meter's accuracy is typed."""

    DEFAULT_CSS = """
    SettingsPage OptionList { border: none; padding: 0; background: $surface; }
    SettingsPage OptionList:focus { border: none; background-tint: $foreground 0%; }
    SettingsPage #kept { margin-top: 1; color: $secondary; }
    """
    heading = "Settings"
    keys: ClassVar[list[Key]] = [("Up Down", "choose"), ("Enter", "change"), ("Esc", "back")]
    about = (
        "What you change holds at once and is kept in a file that `dropwalk check` reads. The meter's accuracy, as its "
        "book has it, decides how much a reading is worth."
    )
    app: DropwalkApp

    def body(self) -> ComposeResult:
        yield OptionList(markup=False)
        yield Static("NO_COLOR in your environment takes all colour away.", id="kept", markup=False)

    def on_mount(self) -> None:
        self._list()

    def _list(self) -> None:
        options = self.query_one(OptionList)
        row = options.highlighted or 0
        settings = self.app.settings
        options.clear_options()
        for name, (label, _) in _CHOICES.items():
            options.add_option(Option(_line(label, _WORDS[getattr(settings, name)]), id=name))
        options.add_option(Option(_line("Bell at the crank timer", "on" if settings.bell else "off"), id="bell"))
        options.add_option(Option(_line("Your meter", accuracy(settings)), id="meter"))
        options.add_option(Option(_line("Tour", "show it again"), id="tour"))
        options.highlighted = row

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        name = event.option.id or ""
        settings = self.app.settings
        if name in _CHOICES:
            values = list(_CHOICES[name][1])
            here = values.index(getattr(settings, name))
            self.app.change_settings(**{name: values[(here + 1) % len(values)]})
        elif name == "bell":
            self.app.change_settings(bell=not settings.bell)
        elif name == "tour":
            self.app.show_tour()
        else:
            self._ask_meter()
        self._list()

    def _ask_meter(self) -> None:
        def given(text: str | None) -> None:
            if text is not None:
                self.app.change_settings(meter=parse_accuracy(text))
                self._list()

        hint = "On the range you use, as its book has it: 0.5 % + 5 mV. Empty: a usual one."
        was = accuracy(self.app.settings) if self.app.settings.meter else ""
        self.app.push_screen(AskText("Your meter's accuracy", hint, was, parse_accuracy), given)


def accuracy(settings: Settings) -> str:
    """The meter's accuracy as a meter's book writes it."""
    meter = settings.meter
    return f"{meter.share * 100:g} % + {meter.volts * 1000:g} mV" if meter else "a usual one: 0.5 % + 5 mV"


def parse_accuracy(text: str) -> Meter | None:
    """Read `0.5 % + 5 mV`; nothing is the usual meter. Raises ValueError."""
    if not text.strip():
        return None
    percent, plus, volts = text.partition("+")
    if not plus or "%" not in percent:
        raise ValueError("write it as 0.5 % + 5 mV")
    share, least_v = parse_number(percent.replace("%", "")) / 100, parse_quantity(volts, "volts")
    if not (0 <= share <= 0.2 and 0 <= least_v <= 1):
        raise ValueError("no such meter is used for this: up to 20 % and 1 V are read")
    return Meter(share=share, volts=least_v)


def _line(label: str, value: str) -> Content:
    return Content.assemble((f"{label:26}", "bold"), value)
