"""The line of keys at the bottom of a screen; each can be clicked too."""

from __future__ import annotations

from typing import TypeVar

from textual.content import Content
from textual.geometry import Size
from textual.screen import Screen
from textual.widget import Widget

T = TypeVar("T")
# A key as it is printed, and what it does in a word or two.
Key = tuple[str, str]
_GAP = 2
_MOST_LINES = 2
# Keys whose printed name is not the one that the framework knows them by. What is not one key can't be clicked.
_NAMES = {"Enter": "enter", "Esc": "escape", "Space": "space", "?": "question_mark", "/": "slash", "F1": "f1"}
_NAMES |= {"F2": "f2", "Ctrl+T": "ctrl+t"}


class UnderBoxes(Screen[T]):
    """A screen whose keys are hidden while a box lies over it, where they would do nothing."""

    def on_screen_suspend(self) -> None:
        for bar in self.query(KeyBar):
            bar.visible = False

    def on_screen_resume(self) -> None:
        for bar in self.query(KeyBar):
            bar.visible = True


class KeyBar(Widget):
    """Says which keys work here, most used first; the last two (help and the way out) always have room."""

    DEFAULT_CSS = """
    KeyBar {
        dock: bottom; height: auto; padding: 0 1; background: $panel; color: $foreground;
        link-style: none; link-color: $foreground; link-background: $panel;
        link-style-hover: none; link-color-hover: $background; link-background-hover: $foreground;
    }
    """

    def __init__(self, keys: list[Key]) -> None:
        super().__init__()
        self._keys = keys

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:  # noqa: ARG002
        """As many lines as the keys need in this width, known before anything is drawn."""
        return len(_lines(self._keys, width)) if width else 0

    def render(self) -> Content:
        return Content("\n").join(_lines(self._keys, self.size.width))

    def show(self, keys: list[Key]) -> None:
        """Show these keys, on as few lines as hold them."""
        if keys != self._keys:
            self._keys = keys
            self.refresh(layout=True)


def _lines(keys: list[Key], width: int) -> list[Content]:
    shown = list(keys)
    while len(rows := _filled(shown, width)) > _MOST_LINES and len(shown) > 2:
        del shown[-3]
    return [Content(" " * _GAP).join([_button(key, word) for key, word in row]) for row in rows]


def _button(key: str, word: str) -> Content:
    name = _NAMES.get(key, key if len(key) == 1 else "")
    if not name:
        return Content.assemble((key, "bold $primary"), " ", word)
    return Content.from_markup(f"[@click=app.press('{name}')][bold $primary]$key[/] $word[/]", key=key, word=word)


def _filled(keys: list[Key], width: int) -> list[list[Key]]:
    rows: list[list[Key]] = [[]]
    used = 0
    for key, word in keys:
        length = len(key) + 1 + len(word)
        if rows[-1] and used + _GAP + length > width:
            rows.append([])
            used = 0
        used += length + (_GAP if rows[-1] else 0)
        rows[-1].append((key, word))
    return rows
