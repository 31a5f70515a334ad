"""A visit that asks for one line of text and says at once what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.widgets import Input, Static

from wizard.ui.keybar import Key
from wizard.ui.visit import Visit


class AskText(Visit[str]):
    """Gives the text once `check` takes it; `check` raises ValueError with what to do instead."""

    DEFAULT_CSS = """
    AskText #wrong { height: auto; color: $error; }
    AskText #hint { height: auto; color: $secondary; }
    AskText Input { margin: 1 0; background: $panel; }
    AskText Input > .input--selection { background: $foreground; color: $background; }
    """
    keys: ClassVar[list[Key]] = [("Enter", "take it"), ("Esc", "leave as it was")]

    def __init__(self, heading: str, hint: str, value: str, check: Callable[[str], Any]) -> None:
        super().__init__()
        self.heading = heading
        self.hint = hint
        self.value = value
        self.check = check

    def body(self) -> ComposeResult:
        yield Static(self.hint, id="hint", markup=False)
        yield Input(self.value, compact=True, select_on_focus=True)
        yield Static("", id="wrong", markup=False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        try:
            self.check(event.value)
        except ValueError as error:
            self.query_one("#wrong", Static).update(f"! {error}")
            return
        self.dismiss(event.value.strip())
