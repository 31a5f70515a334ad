"""The screens driven by keys, and how a test waits for them."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Protocol

from textual import events
from textual.keys import _character_to_key
from textual.pilot import Pilot

from wizard.files.settings import Settings
from wizard.ui.app import DropwalkApp
from wizard.ui.job import JobScreen
from wizard.walk.events import CautionsRead, ReadingTaken


class Bay:
    """The screens under test, driven by keys alone."""

    def __init__(self, app: DropwalkApp, pilot: Pilot[None]) -> None:
        self.app = app
        self.pilot = pilot

    async def press(self, *keys: str) -> None:
        """Press these keys one after the other and wait until the answer is there."""
        for key in keys:
            await self.pilot.press(key)
            await self.settle()

    async def type(self, text: str) -> None:
        """Type this text and press Enter."""
        for character in text:
            self.app.post_message(events.Key(_character_to_key(character), character))
            # The pilot's own press waits for an idle processor, 40 ms a key, which only Enter is worth.
            await self.pilot.pause(0)
        await self.press("enter")

    async def click(self, text: str, *, column: int = 0) -> None:
        """Click where this text stands on the screen, the last time that it does."""
        places = [(line.find(text), y) for y, line in enumerate(self.shown().splitlines()) if text in line]
        assert places, f"{text!r} is not on the screen:\n{self.shown()}"
        x, y = places[-1]
        await self.pilot.click(offset=(x + column, y))
        await self.settle()

    async def settle(self) -> None:
        """Wait for the workers and for the screen to be drawn."""
        while self.app.lone_keys.waiting:
            await self.pilot.pause(0.005)
        await self.app.workers.wait_for_complete()
        await self.pilot.pause()

    @property
    def job(self) -> JobScreen:
        return next(s for s in reversed(self.app.screen_stack) if isinstance(s, JobScreen))

    @property
    def next_step(self) -> str | None:
        assert self.job.assessment is not None
        return self.job.assessment.next.step

    def shown(self) -> str:
        """The screen as text."""
        rows = self.app.screen._compositor.render_strips()
        return "\n".join("".join(segment.text for segment in row) for row in rows)

    async def at_positive_drop(self) -> None:
        """Put the cautions and both battery readings of a demo on record at once: the positive side is next."""
        posts = {"red": "battery-positive-post", "black": "battery-negative-post"}
        self.job.record(
            CautionsRead(cautions=list(self.job.session.desk.cautions.cautions)),
            ReadingTaken(state="resting", value=12.5, **posts),
            ReadingTaken(state="cranking", value=11.6, crank=1, **posts),
        )
        await self.settle()
        assert self.next_step == "positive-drop"

    async def on_to(self, text: str) -> None:
        """Go on with Enter until this text is on the screen."""
        for _ in range(10):
            if text in self.shown():
                return
            await self.press("enter")
        raise AssertionError(f"Enter does not lead to {text!r}:\n{self.shown()}")

    async def confirm_cautions(self) -> None:
        """Read the page of cautions that is open down to its end, and confirm."""
        for _ in range(30):
            if isinstance(self.app.screen, JobScreen):
                return
            await self.press("enter")
        raise AssertionError("the cautions could not be confirmed")


class Open(Protocol):
    def __call__(
        self,
        scenario: str | None = None,
        size: tuple[int, int] = (80, 24),
        settings: Settings | None = None,
        settings_file: Path | None = None,
    ) -> AbstractAsyncContextManager[Bay]: ...
