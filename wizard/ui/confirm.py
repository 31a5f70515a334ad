"""A question with yes and no."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Static

from wizard.ui.keybar import Key
from wizard.ui.visit import Visit


class Confirm(Visit[bool]):
    """Asks before something is taken in another way than it was typed, or can't be taken back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,y", "answer(True)", show=False),
        Binding("n", "answer(False)", show=False),
    ]

    def __init__(self, heading: str, question: str, yes: str, no: str) -> None:
        super().__init__()
        self.heading = heading
        self.question = question
        self.keys: list[Key] = [("Enter", yes), ("Esc", no)]  # pyright: ignore[reportIncompatibleVariableOverride]

    def body(self) -> ComposeResult:
        yield Static(self.question, markup=False)

    def action_answer(self, yes: bool) -> None:
        self.dismiss(yes)
