"""A visit: a page over the work that Esc always leaves."""

from __future__ import annotations

from math import ceil
from typing import ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Static

from wizard.ui.keybar import Key, KeyBar

T = TypeVar("T")


class Visit(ModalScreen[T]):
    """A heading, whatever the visit shows, and its keys. Leaving it without an answer gives None."""

    DEFAULT_CSS = """
    Visit { align: center middle; background: $background 60%; }
    Visit > #sheet { width: 100%; max-width: 84; height: auto; max-height: 100%; background: $surface; }
    Visit #heading { height: 1; padding: 0 1; background: $primary; color: $background; text-style: bold; }
    Visit #content { height: auto; padding: 1 2; }
    Visit KeyBar { dock: none; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", show=False)]
    AUTO_FOCUS = "Input, OptionList, VerticalScroll"

    heading: str = ""
    keys: ClassVar[list[Key]] = [("Esc", "back")]
    # What the help says of this visit beside its keys.
    about: ClassVar[str] = ""

    def compose(self) -> ComposeResult:
        with Vertical(id="sheet"):
            yield Static(self.heading, id="heading", markup=False)
            with Vertical(id="content"):
                yield from self.body()
            yield KeyBar(self._with_help(self.keys))

    def show_keys(self, keys: list[Key]) -> None:
        """Say that these keys work now."""
        self.keys = keys  # pyright: ignore[reportAttributeAccessIssue]
        self.query_one(KeyBar).show(self._with_help(keys))

    def _with_help(self, keys: list[Key]) -> list[Key]:
        *most, way_out = keys
        return [*most, ("F1", "help"), way_out]

    def set_heading(self, heading: str) -> None:
        """Head the visit with this instead."""
        self.heading = heading
        self.query_one("#heading", Static).update(heading)

    def body(self) -> ComposeResult:
        """What the visit shows between its heading and its keys."""
        yield from ()

    def action_leave(self) -> None:
        self.dismiss(None)


class Page(Visit[bool]):
    """A page to read; it scrolls when it is longer than the screen."""

    DEFAULT_CSS = """
    Page #content { padding: 0; }
    Page VerticalScroll { height: auto; max-height: 20; padding: 1 2; scrollbar-size-vertical: 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down,j", "scroll(1)", show=False),
        Binding("up,k", "scroll(-1)", show=False),
        Binding("space", "scroll(8)", show=False),
        Binding("question_mark", "app.help_here", show=False),
    ]
    keys: ClassVar[list[Key]] = [("Up Down", "scroll"), ("Esc", "back")]

    def __init__(self, heading: str, text: Content | str) -> None:
        super().__init__()
        self.heading = heading
        self.text = text

    def body(self) -> ComposeResult:
        with VerticalScroll():
            yield Static(self.text, id="text", markup=False)

    def on_mount(self) -> None:
        self.show(self.text)
        self._fit()

    def on_resize(self) -> None:
        self._fit()

    def show(self, text: Content | str) -> None:
        """Show this text instead."""
        self.text = text
        # Not there yet when the text comes before the page is mounted, which then shows it.
        for shown in self.query("#text").results(Static):
            shown.update(text)

    def _fit(self) -> None:
        self.query_one(VerticalScroll).styles.max_height = max(3, self.app.size.height - 4)

    def page_of(self) -> tuple[int, int]:
        """Which screenful of how many is shown; the last one once its last line is."""
        scroll = self.query_one(VerticalScroll)
        height = max(1, scroll.size.height - scroll.styles.padding.height)
        pages = 1 + ceil(scroll.max_scroll_y / height)
        return (pages, pages) if scroll.scroll_y >= scroll.max_scroll_y else (1 + int(scroll.scroll_y / height), pages)

    def at_end(self) -> bool:
        """Whether its last line has been shown; when not, it is moved on by a screen."""
        scroll = self.query_one(VerticalScroll)
        if scroll.scroll_y >= scroll.max_scroll_y:
            return True
        scroll.scroll_page_down(animate=False)
        return False

    def action_scroll(self, rows: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=rows, animate=False)
