"""The line that a reading is typed into."""

from __future__ import annotations

from dataclasses import dataclass

from textual import events
from textual.message import Message
from textual.widgets import Input

# What a reading can begin with: a number, or the word open.
_BEGINS = "0123456789.,-+oO"


class ReadingEntry(Input):
    """Takes digits at once; letters reach the screen's keys until a number (or `open`) has been begun."""

    DEFAULT_CSS = """
    ReadingEntry { width: 16; background: $panel; }
    ReadingEntry:focus { background-tint: $foreground 0%; }
    """

    @dataclass
    class Entered(Message):
        """Enter was pressed on this text."""

        text: str

    def __init__(self) -> None:
        super().__init__(compact=True, max_length=24)

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Whether this key is typed here or is one of the screen's."""
        return (bool(self.value) or self.begins(character)) and super().check_consume_key(key, character)

    def begins(self, character: str | None) -> bool:
        """Whether a reading can begin with this character."""
        return character is not None and character in _BEGINS

    def type_in(self, text: str) -> None:
        """Have this in the line, behind what is there."""
        self.value += text
        self.cursor_position = len(self.value)

    async def _on_key(self, event: events.Key) -> None:
        if event.is_printable and not self.check_consume_key(event.key, event.character):
            event.prevent_default()
            return
        await super()._on_key(event)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.post_message(self.Entered(event.value))
