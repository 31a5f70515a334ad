"""The line that a reading is typed into."""

from __future__ import annotations

from dataclasses import dataclass

from textual import events
from textual.message import Message
from textual.widgets import Input


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

    async def _on_key(self, event: events.Key) -> None:
        begins = event.character is not None and event.character in "0123456789.,-+oO"
        if event.is_printable and not self.value and not begins:
            event.prevent_default()
            return
        await super()._on_key(event)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.post_message(self.Entered(event.value))
