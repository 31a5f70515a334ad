"""The trade's words, found by a few letters."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Input, Static

from wizard.files.glossary import Glossary
from wizard.ui.visit import Visit


class GlossaryPage(Visit[bool]):
    """Every word that has the letters typed, with what it means."""

    DEFAULT_CSS = """
    GlossaryPage Input { background: $panel; margin-bottom: 1; }
    GlossaryPage VerticalScroll { height: auto; scrollbar-size-vertical: 1; }
    """
    AUTO_FOCUS = "Input"
    heading = "Words of the trade"
    about = "Type a few letters of the word. Up and Down scroll."

    def __init__(self, glossary: Glossary) -> None:
        super().__init__()
        self._words = sorted(glossary.glossary.items(), key=lambda pair: pair[0].lower())

    def body(self) -> ComposeResult:
        yield Input(placeholder="a few letters", compact=True)
        with VerticalScroll(can_focus=False):
            yield Static("", id="words", markup=False)

    def on_mount(self) -> None:
        self._list("")
        self.on_resize()

    def on_resize(self) -> None:
        self.query_one(VerticalScroll).styles.max_height = max(3, self.app.size.height - 7)

    def on_input_changed(self, event: Input.Changed) -> None:
        self._list(event.value)

    def key_down(self) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=1, animate=False)

    def key_up(self) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=-1, animate=False)

    def _list(self, typed: str) -> None:
        letters = typed.strip().lower()
        found = [(word, text) for word, text in self._words if letters in word.lower()]
        # A word that only its explanation has is better than none.
        found = found or [(word, text) for word, text in self._words if letters in text.lower()]
        lines = [Content.assemble((f"{word}  ", "bold $primary"), text.strip()) for word, text in found]
        self.query_one("#words", Static).update(Content("\n").join(lines) if lines else "No such word here.")
