"""The cautions: read at any time, and confirmed once per job before what they belong to."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.ui.keybar import Key
from wizard.ui.visit import Page
from wizard.walk.flow import Cautions


class CautionsPage(Page):
    """Gives True once they are confirmed; a page that is only read has nothing to confirm."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "confirm", show=False)]

    def __init__(self, cautions: Cautions, names: list[str], *, confirm: bool) -> None:
        heading = "Before you go on: read these, do them, confirm" if confirm else "Cautions"
        super().__init__(heading, cautions_text(cautions, names))
        self._confirm = confirm
        if confirm:
            self.keys: list[Key] = [  # pyright: ignore[reportIncompatibleVariableOverride]
                ("Up Down", "scroll"),
                ("Enter", "on; at the end: read and done"),
                ("Esc", "not yet"),
            ]

    def action_confirm(self) -> None:
        """Enter pages down to the last line first: nothing is confirmed unseen."""
        if not self._confirm:
            self.dismiss(None)
        elif self.at_end():
            self.dismiss(True)


def cautions_text(cautions: Cautions, names: list[str]) -> Content:
    """These cautions in full, and whom the product defers to."""
    lines: list[Content] = []
    for name in names:
        if (caution := cautions.cautions.get(name)) is not None:
            lines.append(Content.assemble((f"! {caution.title}.", "bold $warning"), f" {caution.text.strip()}"))
    lines.append(Content.styled(cautions.defer.strip(), "italic"))
    return Content("\n").join(lines)
