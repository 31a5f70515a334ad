"""Asks what happened when a typed value can hardly be what was to be read; one typed there takes its place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.widgets import Input, Static

from wizard.quantities import capitalised
from wizard.ui.pick import Item, Pick


class WhatHappened(Pick):
    """Gives the one answer picked, or the text typed instead once `check` takes it.

    `check` raises ValueError with what to type.
    """

    def __init__(self, heading: str, items: list[Item], check: Callable[[str], Any]) -> None:
        super().__init__(heading, items)
        self.check = check
        self.keys = [("0-9", "another value"), ("Enter", "pick"), ("Esc", "back")]

    def on_input_changed(self, event: Input.Changed) -> None:
        # The list, which no figure is in, is narrowed by the other handler of this.
        instead = f"Enter takes {event.value.strip()} instead." if _has_figure(event.value) else "No answer has these."
        self.query_one("#none", Static).update(f"{instead} Backspace takes it away again.")

    def action_take(self) -> None:
        text = self.query_one(Input).value.strip()
        if not _has_figure(text):
            super().action_take()
            return
        try:
            self.check(text)
        except ValueError as error:
            self.query_one("#none", Static).update(f"! {capitalised(str(error))}.")
            return
        self.dismiss((text,))


def _has_figure(text: str) -> bool:
    return any(character.isdigit() for character in text)
