"""A visit that picks one or several things from a list by a few letters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from wizard.ui.keybar import Key
from wizard.ui.visit import Visit


@dataclass(frozen=True)
class Item:
    """One thing to pick: its id, what is printed, and a remark after it."""

    id: str
    label: str
    remark: str = ""


class Pick(Visit[tuple[str, ...]]):
    """Gives the ids picked. Letters narrow the list; with `several`, Space marks and Enter is done.

    `at_once` has one picked by Enter from the start; what is evidence is chosen first, by an arrow or a letter.
    """

    DEFAULT_CSS = """
    Pick Input { background: $panel; margin-bottom: 1; }
    Pick OptionList { max-height: 16; border: none; padding: 0; background: $surface; }
    Pick OptionList:focus { border: none; background-tint: $foreground 0%; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "move(1)", priority=True, show=False),
        Binding("up", "move(-1)", priority=True, show=False),
        Binding("pagedown", "move(8)", priority=True, show=False),
        Binding("pageup", "move(-8)", priority=True, show=False),
    ]
    AUTO_FOCUS = "Input"

    def __init__(
        self,
        heading: str,
        items: list[Item],
        *,
        here: str = "",
        several: bool = False,
        marked: tuple[str, ...] = (),
        at_once: bool = True,
    ) -> None:
        super().__init__()
        self.heading = heading
        self.items = items
        self.here = here
        self.several = several
        self.at_once = at_once
        self.marked = list(marked)
        self._listed = ""
        self._label_width = max((len(item.label) for item in items if item.remark), default=0)
        self.keys: list[Key] = [  # pyright: ignore[reportIncompatibleVariableOverride]
            ("letters", "narrow the list"),
            *([] if at_once else [("Up Down", "choose")]),
            *([("Space", "mark"), ("Enter", "done")] if several else [("Enter", "pick")]),
            ("Esc", "back"),
        ]

    def body(self) -> ComposeResult:
        yield Input(placeholder="a few letters", compact=True)
        yield OptionList(markup=False)
        yield Static("Nothing here has these letters. Backspace takes them away again.", id="none", markup=False)

    def on_mount(self) -> None:
        self.query_one(OptionList).can_focus = False
        self._list("")
        self.on_resize()

    def on_resize(self) -> None:
        self.query_one(OptionList).styles.max_height = max(3, self.app.size.height - 7)

    def on_input_changed(self, event: Input.Changed) -> None:
        if self.several and event.value.endswith(" "):
            self._mark()
            with self.prevent(Input.Changed):
                event.input.value = ""
            self._list("")
            return
        self._list(event.value)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        # By way of the line of letters, so that letters typed just before are in it.
        event.stop()
        self.action_take()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        if self.several:
            self._mark()
            self._list(self.query_one(Input).value)
        else:
            self.action_take()

    def action_move(self, rows: int) -> None:
        options = self.query_one(OptionList)
        if options.option_count:
            row = 0 if options.highlighted is None else options.highlighted + rows
            options.highlighted = min(max(row, 0), options.option_count - 1)

    def action_take(self) -> None:
        if self.several:
            if not self.marked and self.query_one(Input).value.strip():
                # What the letters found is meant: nothing at all would be another answer.
                self._mark()
            self.dismiss(tuple(self.marked))
        elif (chosen := self._chosen()) is not None:
            self.dismiss((chosen,))

    def _chosen(self) -> str | None:
        # Someone who types fast presses Enter before the list has heard of the last letters.
        if (typed := self.query_one(Input).value.strip()) != self._listed:
            self._list(typed)
        option = self.query_one(OptionList).highlighted_option
        return option.id if option else None

    def _mark(self) -> None:
        chosen = self._chosen()
        if chosen is None:
            return
        self.here = chosen
        if chosen in self.marked:
            self.marked.remove(chosen)
        else:
            self.marked.append(chosen)

    def _list(self, typed: str) -> None:
        self._listed = typed.strip()
        words = typed.lower().split()
        found = [
            item
            for item in self.items
            if all(word in f"{item.label} {item.id} {item.remark}".lower() for word in words)
        ]
        # Letters in a row as they were typed go before letters that are somewhere in it.
        found.sort(key=lambda item: self._listed.lower() not in f"{item.label} {item.remark}".lower())
        options = self.query_one(OptionList)
        options.clear_options()
        options.add_options([Option(self._line(item), id=item.id) for item in found])
        options.display = bool(found)
        self.query_one("#none").display = not found
        ids = [item.id for item in found]
        first = 0 if ids and (self.at_once or words) else None
        options.highlighted = ids.index(self.here) if self.here in ids else first

    def _line(self, item: Item) -> Content:
        mark = ("[x] " if item.id in self.marked else "[ ] ") if self.several else ""
        label = f"{item.label:{self._label_width}}  {item.remark}" if item.remark else item.label
        return Content(mark + label)
