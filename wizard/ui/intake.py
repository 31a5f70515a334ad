"""The intake: which circuit, how this vehicle differs from its map, and what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from wizard.circuit.heard import HEARD, Heard
from wizard.circuit.map import CircuitMap, Kind, PartChange
from wizard.errors import DropwalkError
from wizard.files import shelf
from wizard.quantities import TEXT_MOST, Size, parse_celsius, parse_quantity, typed_text
from wizard.ui.ask_text import AskText
from wizard.ui.keybar import Key, KeyBar, UnderBoxes
from wizard.ui.pick import Item, Pick
from wizard.walk.events import Complaint, History

if TYPE_CHECKING:
    from wizard.ui.app import DropwalkApp

_OWN_MAP = "a map of your own"
_SYMPTOMS = {
    Heard.CRANKS_NORMALLY: "cranks normally today",
    Heard.CRANKS_SLOWLY: "cranks, but slowly",
    Heard.ONE_CLICK: "one click, no cranking",
    Heard.RAPID_CLICKS: "clicks in quick succession",
    Heard.NO_CLICK: "no click at all",
}


@dataclass(frozen=True)
class Intake:
    """What the intake gives: the job's title and its complaint."""

    title: str
    complaint: Complaint


@dataclass(frozen=True)
class _Line:
    id: str
    label: str
    value: str


class IntakeScreen(UnderBoxes[Intake]):
    """One line for each question; Enter answers the one that the bar is on, s begins the job."""

    DEFAULT_CSS = """
    IntakeScreen #head { dock: top; height: 1; padding: 0 1; background: $panel; color: $primary; }
    IntakeScreen #lines { height: 1fr; padding: 1 1 0 1; }
    IntakeScreen OptionList { border: none; padding: 0; background: $background; max-height: 100%; }
    IntakeScreen OptionList:focus { border: none; background-tint: $foreground 0%; }
    IntakeScreen #said { height: auto; max-height: 3; padding: 0 1; }
    """
    AUTO_FOCUS = "OptionList"
    app: DropwalkApp
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("s", "begin", show=False),
        Binding("x", "empty", show=False),
    ]

    def __init__(self, intake: Intake, *, new: bool, measured: bool = False, blank: Intake | None = None) -> None:
        """For a new job, `blank` is what it starts from when what was put in before is not wanted."""
        super().__init__()
        self.measured = measured
        self.blank = blank
        self.before = intake
        self.intake = intake
        self.new = new

    def compose(self) -> ComposeResult:
        yield Static("New job" if self.new else "The complaint and the vehicle", id="head", markup=False)
        with Vertical(id="lines"):
            yield OptionList(markup=False)
        yield Static("", id="said", markup=False)
        keys: list[Key] = [
            ("Up Down", "choose"),
            ("Enter", "answer"),
            ("s", "begin the job" if self.new else "keep it"),
            *([("x", "empty it")] if self.new else []),
        ]
        yield KeyBar([*keys, ("Esc", "leave")])

    def on_mount(self) -> None:
        self._show()
        if self.blank is not None and self.intake != self.blank:
            self.say("This is what you put in before. x empties it.")

    @property
    def circuit_map(self) -> CircuitMap:
        return shelf.circuit_map(self.intake.complaint.circuit, Path.cwd())

    def _show(self) -> None:
        options = self.query_one(OptionList)
        row = options.highlighted or 0
        options.clear_options()
        options.add_options([Option(_drawn(line), id=line.id) for line in self._lines()])
        options.highlighted = row

    def _lines(self) -> list[_Line]:
        complaint, chart = self.intake.complaint, self.circuit_map
        changes = [_change(name, change) for name, change in complaint.changes.parts.items()]
        replaced = [name.replace("-", " ") for name in complaint.history.recently_replaced]
        woke = complaint.history.woke_up_when_touched
        cca = complaint.changes.cca_a or chart.battery.cca_a
        return [
            _Line("title", "Job", self.intake.title or "(name the vehicle, so you find it again)"),
            _Line("circuit", "Circuit", f"{chart.title}, {chart.system_v:g} V"),
            _Line("parts", "Cables that differ", ", ".join(changes) or "none: as the map has them"),
            _Line("cca", "Battery", f"{cca:g} A cold cranking"),
            _Line(
                "symptom",
                "What it does",
                _SYMPTOMS[complaint.symptom] if complaint.symptom else "not heard yet",
            ),
            _Line("intermittent", "How often", "it comes and goes" if complaint.intermittent else "every time"),
            _Line("replaced", "Replaced lately", ", ".join(replaced) or "nothing"),
            _Line(
                "helped",
                "What helps",
                ", ".join(h.replace("-", " ") for h in complaint.history.helped_by) or "nothing",
            ),
            _Line(
                "woke",
                "Woke up when touched",
                chart.points[woke].label if woke in chart.points else "nothing",
            ),
            _Line("air", "Air", f"{complaint.air:g} C"),
            _Line("clamp", "Clamp meter", "at hand" if complaint.clamp_meter else "none"),
            _Line("begin", "Begin the job" if self.new else "Keep it", ""),
        ]

    def say(self, text: str) -> None:
        """One line about what is missing or wrong."""
        self.query_one("#said", Static).update(text)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.say("")
        ask: dict[str, Callable[[], None]] = {
            "title": self._ask_title,
            "circuit": self._ask_circuit,
            "parts": self._ask_part,
            "cca": self._ask_cca,
            "symptom": self._ask_symptom,
            "intermittent": lambda: self._put(intermittent=not self.intake.complaint.intermittent),
            "replaced": self._ask_replaced,
            "helped": self._ask_helped,
            "woke": self._ask_woke,
            "air": self._ask_air,
            "clamp": lambda: self._put(clamp_meter=not self.intake.complaint.clamp_meter),
            "begin": self.action_begin,
        }
        ask[event.option.id or "begin"]()

    def _put(self, **fields: Any) -> None:
        """Change fields of the complaint, checked as a file's would be."""
        complaint = self.intake.complaint
        kept = {name: getattr(complaint, name) for name in Complaint.model_fields}
        self.intake = replace(self.intake, complaint=Complaint.model_validate({**kept, **fields}))
        self._show()

    def _put_history(self, **fields: Any) -> None:
        kept = {name: getattr(self.intake.complaint.history, name) for name in History.model_fields}
        self._put(history=History(**{**kept, **fields}))

    def _ask(
        self, heading: str, hint: str, value: str, check: Callable[[str], Any], put: Callable[[str], None]
    ) -> None:
        self.app.push_screen(AskText(heading, hint, value, check), lambda text: put(text) if text is not None else None)

    def _pick_one(self, heading: str, items: list[Item], here: str, put: Callable[[str], None]) -> None:
        self.app.push_screen(Pick(heading, items, here=here), lambda ids: put(ids[0]) if ids else None)

    def _ask_title(self) -> None:
        def put(text: str) -> None:
            self.intake = replace(self.intake, title=text)
            self._show()

        self._ask("Job", "Vehicle, plate or order number: whatever finds it again.", self.intake.title, _title, put)

    def _ask_circuit(self) -> None:
        if self.measured:
            self.say("! Readings were taken on this circuit. Begin a new job for another one.")
            return
        maps = {name: shelf.circuit_map(name, Path.cwd()) for name in shelf.circuit_names()}
        items = [Item(name, f"{chart.system_v:2g} V  {chart.title}") for name, chart in maps.items()]
        items.append(Item(_OWN_MAP, "      Another, or 6 or 24 V: a map of your own, from a file"))

        def put(name: str) -> None:
            if name == _OWN_MAP:
                hint = "The file of the map, such as my-van.yaml. `dropwalk check` says what is wrong with one."
                self._ask("A map of your own", hint, "", _own_map, self._put_circuit)
            else:
                self._put_circuit(name)

        self._pick_one("Which circuit is it?", items, self.intake.complaint.circuit, put)

    def _put_circuit(self, name: str) -> None:
        if name != self.intake.complaint.circuit:
            # What differs and what was touched belongs to the parts of the other map.
            helped_by = self.intake.complaint.history.helped_by
            self._put(circuit=name, changes={}, history={"helped_by": helped_by})

    def _ask_part(self) -> None:
        parts = self.circuit_map.parts
        changes = self.intake.complaint.changes.parts
        items = [
            Item(
                name,
                part.label,
                _change("", changes[name]) if name in changes else f"{part.length_m:g} m {part.size}",
            )
            for name, part in parts.items()
            if part.kind in (Kind.CABLE, Kind.STRAP) and part.length_m and part.size
        ]

        def ask_size(name: str) -> None:
            part, change = parts[name], changes.get(name)
            length_m = (change.length_m if change else None) or part.length_m
            was = f"{length_m:g} m, {(change.size if change else None) or part.size}"
            hint = f"{part.label}: length, size. Such as 1.4 m, 25 mm2 or 55 in, 2 AWG."
            self._ask("Length and size", hint, was, _length_and_size, lambda text: self._put_part(name, text))

        self._pick_one("Which cable or strap differs?", items, "", ask_size)

    def _put_part(self, name: str, text: str) -> None:
        length_m, size = _length_and_size(text)
        changes = self.intake.complaint.changes
        conductor = changes.parts[name].conductor if name in changes.parts else None
        change = {"length_m": length_m, "size": size, "conductor": conductor}
        self._put(changes={"parts": {**changes.parts, name: change}, "cca_a": changes.cca_a})

    def _ask_cca(self) -> None:
        changes = self.intake.complaint.changes
        was = f"{changes.cca_a or self.circuit_map.battery.cca_a:g}"

        def put(text: str) -> None:
            self._put(changes={"parts": changes.parts, "cca_a": _amps(text)})

        self._ask("Battery", "Cold cranking amps on its label.", was, _amps, put)

    def _ask_symptom(self) -> None:
        items = [Item(str(heard), _SYMPTOMS[heard]) for heard in HEARD]
        here = str(self.intake.complaint.symptom or "")
        self._pick_one("What does it do when start is held?", items, here, lambda name: self._put(symptom=Heard(name)))

    def _ask_replaced(self) -> None:
        parts = self.circuit_map.parts
        items = [Item("battery", "battery"), Item("starter", "starter")]
        items += [Item(name, part.label) for name, part in parts.items()]
        marked = tuple(self.intake.complaint.history.recently_replaced)
        self.app.push_screen(
            Pick("What was replaced lately?", items, several=True, marked=marked),
            lambda ids: self._put_history(recently_replaced=list(ids)) if ids is not None else None,
        )

    def _ask_helped(self) -> None:
        items = [Item(name, name.replace("-", " ")) for name in shelf.priors().helped_by]
        marked = tuple(self.intake.complaint.history.helped_by)
        self.app.push_screen(
            Pick("What helps, when it will not crank?", items, several=True, marked=marked),
            lambda ids: self._put_history(helped_by=list(ids)) if ids is not None else None,
        )

    def _ask_woke(self) -> None:
        items = [Item("nothing", "nothing, or nobody noticed")]
        items += [Item(name, point.label) for name, point in self.circuit_map.points.items()]

        def put(name: str) -> None:
            self._put_history(woke_up_when_touched=None if name == "nothing" else name)

        self._pick_one("What moved when it came back to life?", items, "", put)

    def _ask_air(self) -> None:
        was = f"{self.intake.complaint.air:g} C"
        self._ask(
            "Air",
            "Temperature around the vehicle: 15 C or 60 F.",
            was,
            _air,
            lambda t: self._put(air=_air(t)),
        )

    def action_begin(self) -> None:
        if not self.intake.title:
            self.say("! Name the job first: Enter on the first line.")
            self.query_one(OptionList).highlighted = 0
            return
        try:
            shelf.desk_for(self.intake.complaint, "no-crank-clicks", Path.cwd())
        except DropwalkError as error:
            self.say(f"! {error}")
            return
        self.dismiss(self.intake)

    def action_empty(self) -> None:
        if self.blank is not None:
            self.intake = self.blank
            self.say("Emptied.")
            self._show()

    def action_leave(self) -> None:
        """What was put in for a new job waits for the next time; what was changed in another is asked about."""
        if self.blank is not None:
            self.app.draft = None if self.intake == self.blank else self.intake
            self.dismiss(None)
        elif self.intake == self.before:
            self.dismiss(None)
        else:
            items = [Item("keep", "Keep what you changed"), Item("drop", "Leave it as it was")]
            self.app.push_screen(Pick("You changed something", items), self._left)

    def _left(self, ids: tuple[str, ...] | None) -> None:
        if ids == ("keep",):
            self.action_begin()
        elif ids == ("drop",):
            self.dismiss(None)


def _drawn(line: _Line) -> Content:
    if not line.value:
        return Content.styled(line.label, "bold $primary")
    return Content.assemble((f"{line.label:22}", "bold"), line.value)


def _change(name: str, change: PartChange) -> str:
    parts = [
        name.replace("-", " "),
        f"{change.length_m:g} m" if change.length_m else "",
        str(change.size) if change.size else "",
        str(change.conductor).replace("-", " ") if change.conductor else "",
        f"{change.resistance_mohm:g} mohm" if change.resistance_mohm else "",
    ]
    return " ".join(part for part in parts if part)


def _title(text: str) -> str:
    text = typed_text(text, TEXT_MOST)
    if not text:
        raise ValueError("type a name")
    return text


def _own_map(text: str) -> str:
    if not text.strip():
        raise ValueError("type the name of a file, such as my-van.yaml")
    try:
        shelf.circuit_map(text.strip(), Path.cwd())
    except DropwalkError as error:
        raise ValueError(str(error)) from None
    return text.strip()


def _amps(text: str) -> float:
    amps = parse_quantity(text, "amps", bare=1.0)
    if not 20 <= amps <= 5000:
        raise ValueError(f"{amps:g} A is no starting battery; 20 A to 5000 A are read")
    return amps


def _air(text: str) -> float:
    try:
        celsius = parse_celsius(text if any(c.isalpha() for c in text) else f"{text} C")
    except ValueError:
        raise ValueError("write it as 15 C or 60 F") from None
    if not -60 <= celsius <= 70:
        raise ValueError(f"{celsius:.0f} C is no air temperature for this work; -60 C to 70 C are read")
    return round(celsius, 1)


def _length_and_size(text: str) -> tuple[float, Size]:
    """Length, then size: what comes last and reads as a size is the size, so that a decimal comma is no trouble."""
    for cut in re.finditer(r"\s*[,;\s]\s*", text):
        try:
            length_m, size = parse_quantity(text[: cut.start()], "metres"), Size.parse(text[cut.end() :])
        except ValueError:
            continue
        if not 0.01 <= length_m <= 100:
            raise ValueError(f"{length_m:g} m is no length for this; 1 cm to 100 m are read")
        return length_m, size
    raise ValueError("write the length and then the size: 1.9 m, 25 mm2 or 75 in, 2 AWG")
