"""A page that stays open while things are put on record from it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from wizard.errors import DropwalkError
from wizard.ui.ask_text import AskText
from wizard.ui.pick import Item, Pick
from wizard.ui.visit import Page
from wizard.walk.events import Event

if TYPE_CHECKING:
    from wizard.record.session import Session


class Logbook(Page):
    """Shows what `told` says of the job, anew after each entry, and under it a line about the last one."""

    DEFAULT_CSS = """
    Logbook #said { height: auto; max-height: 3; padding: 0 2; text-style: bold; }
    """

    def __init__(self, heading: str, session: Session) -> None:
        super().__init__(heading, "")
        self.session = session

    def told(self) -> Content:
        """The page as the job stands now."""
        raise NotImplementedError

    def body(self) -> ComposeResult:
        yield from super().body()
        yield Static("", id="said", markup=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.show(self.told())

    def put(self, said: str, *events: Event) -> None:
        """On disk first, then on the page; the reason is said when it is refused."""
        try:
            self.session.record(*events)
        except DropwalkError as error:
            said = f"! {error}"
        self.say(said)
        self.show(self.told())

    def say(self, text: str) -> None:
        """One line about what just happened."""
        self.query_one("#said", Static).update(text)

    def ask(self, heading: str, hint: str, value: str, check: Callable[[str], Any], use: Callable[[str], None]) -> None:
        """Ask for a line of text and use it, unless the question is left."""
        self.app.push_screen(AskText(heading, hint, value, check), lambda text: use(text) if text is not None else None)

    def pick(
        self, heading: str, items: list[Item], use: Callable[[str], None], left: Callable[[], None] | None = None
    ) -> None:
        """Ask which of these and use it; `left` is done when the question is left.

        What there is a way back from is not answered by Enter alone.
        """

        def picked(ids: tuple[str, ...] | None) -> None:
            if ids:
                use(ids[0])
            elif left is not None:
                left()

        self.app.push_screen(Pick(heading, items, at_once=left is None), picked)
