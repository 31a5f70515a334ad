"""Asks before a single letter puts something on record."""

from __future__ import annotations

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Static

from wizard.ui.keybar import Key
from wizard.ui.visit import Visit


class Sure(Visit[str]):
    """The letter once more, or Enter, does it; gives the letter then.

    Any other character says that a word was being typed: it is given instead, and nothing is done.
    """

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "sure", show=False)]

    def __init__(self, letter: str, heading: str, text: str, deed: str) -> None:
        super().__init__()
        self.heading = heading
        self.letter = letter
        self.text = text
        self.keys: list[Key] = [  # pyright: ignore[reportIncompatibleVariableOverride]
            ("Enter", deed),
            (letter, "again does too"),
            ("Esc", "leave it"),
        ]

    def body(self) -> ComposeResult:
        yield Static(self.text, markup=False)

    def on_key(self, event: events.Key) -> None:
        if event.is_printable and event.character is not None:
            event.stop()
            self.dismiss(event.character)

    def action_sure(self) -> None:
        self.dismiss(self.letter)
