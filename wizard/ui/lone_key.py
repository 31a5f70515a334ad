"""Letters as commands: one pressed by itself is one; several at once are something typed or pasted, and never are."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from textual import events
from textual.app import App
from textual.timer import Timer

# Closer together than a hand presses two keys, and too short for a wait that could be noticed.
_APART_S = 0.025


class TakesLetters:
    """A screen whose letters are commands."""

    def types(self, event: events.Key) -> bool:
        """Whether this key is typed into a line now."""
        raise NotImplementedError

    def take_as_text(self, text: str) -> None:
        """These characters came at once: they are no command."""
        raise NotImplementedError


class LoneKeys:
    """Holds a key that may be a command until it is known to come alone; `run` then has it do its work."""

    def __init__(self, app: App[None], run: Callable[[events.Key], Awaitable[None]]) -> None:
        self._app = app
        self._run = run
        self._held: events.Key | None = None
        self._text = ""
        self._timer: Timer | None = None

    @property
    def waiting(self) -> bool:
        """Whether a key is held, or one that came with others was just taken."""
        return self._timer is not None

    async def takes(self, event: events.Key) -> str | None:
        """Whether this key is not to do its work now: what came at once so far, empty for one that is held.

        None when it may go on. What was held before it does its work first.
        """
        if not event.is_printable or event.character is None:
            await self._release()
            return None
        if self._timer is None:
            self._held = event
        self._text += event.character
        self._wait()
        if len(self._text) == 1:
            return ""
        self._held = None
        return self._text

    def _wait(self) -> None:
        if self._timer is not None:
            self._timer.stop()
        self._timer = self._app.set_timer(_APART_S, self._release)

    async def _release(self) -> None:
        if self._timer is not None:
            self._timer.stop()
        held, self._held, self._text, self._timer = self._held, None, "", None
        if held is not None:
            await self._run(held)
