"""The story of a made-up vehicle, before its job."""

from __future__ import annotations

from typing import ClassVar

from textual import events

from wizard.ui.keybar import Key
from wizard.ui.visit import Page


class Story(Page):
    """Any key that types something goes on, and so do Enter and Esc."""

    keys: ClassVar[list[Key]] = [("Up Down", "scroll"), ("Enter", "go on"), ("Esc", "close")]

    def on_key(self, event: events.Key) -> None:
        if event.key == "enter" or event.is_printable:
            event.stop()
            event.prevent_default()
            self.dismiss(None)
