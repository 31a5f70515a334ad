"""The cautions: read at any time, and confirmed once per job before what they belong to."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content

from wizard.ui.keybar import Key
from wizard.ui.visit import Page
from wizard.walk.flow import Cautions

_CONFIRMS = "\nEnter says: I have read all of these, and done what they ask on this vehicle. It goes on record."


class CautionsPage(Page):
    """Gives True once they are confirmed; a page that is only read has nothing to confirm."""

    DEFAULT_CSS = """
    CautionsPage VerticalScroll { padding: 0 2; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "confirm", show=False)]

    def __init__(self, cautions: Cautions, names: list[str], *, confirm: bool) -> None:
        text = cautions_text(cautions, names)
        super().__init__("Cautions", Content.assemble(text, (_CONFIRMS, "bold")) if confirm else text)
        self._confirm = confirm
        if confirm:
            self.keys: list[Key] = _keys(last=False)  # pyright: ignore[reportIncompatibleVariableOverride]

    def on_mount(self) -> None:
        super().on_mount()
        if self._confirm:
            self.watch(self.query_one(VerticalScroll), "scroll_y", self._turned)

    def on_resize(self) -> None:
        super().on_resize()
        if self._confirm:
            # How many pages there are is known once they are laid out.
            self.call_after_refresh(self._turned)

    def _turned(self) -> None:
        page, pages = self.page_of()
        self.set_heading(f"Before you go on: read these and do them. Page {page} of {pages}")
        self.show_keys(_keys(last=page == pages))

    def action_confirm(self) -> None:
        """Enter pages down to the last line first: nothing is confirmed unseen."""
        if not self._confirm:
            self.dismiss(None)
        elif self.at_end():
            self.dismiss(True)


def _keys(*, last: bool) -> list[Key]:
    enter = "I have read and done all of these" if last else "next page"
    return [("Up Down", "scroll"), ("Enter", enter), ("Esc", "not yet")]


def cautions_text(cautions: Cautions, names: list[str]) -> Content:
    """These cautions in full, and whom the product defers to."""
    lines: list[Content] = []
    for name in names:
        if (caution := cautions.cautions.get(name)) is not None:
            lines.append(Content.assemble((f"! {caution.title}.", "bold $warning"), f" {caution.text.strip()}"))
    lines.append(Content.styled(cautions.defer.strip(), "italic"))
    return Content("\n").join(lines)
