"""The line at the top of a job: which job, which circuit, how the wizard works, and the starter's rest."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from wizard.ui.fit import shortened


class Strip(Static):
    """One line; what matters most stands at its ends."""

    DEFAULT_CSS = """
    Strip { dock: top; height: 1; padding: 0 1; background: $panel; color: $foreground; }
    """

    def __init__(self) -> None:
        super().__init__("", markup=False)

    def show(self, title: str, about: str, now: str, *, alarm: bool = False) -> None:
        """Title on the left, what it is about after it, and what goes on now on the right."""
        width = self.size.width
        room = max(8, width - len(about) - len(now) - 5)
        title = shortened(title, room)
        if len(title) + len(about) + len(now) + 4 > width:
            about = about[: max(0, width - len(title) - len(now) - 5)]
        gap = " " * max(1, width - len(title) - len(about) - len(now) - 2)
        self.update(
            Content.assemble(
                (title, "bold $primary"),
                "  ",
                (about, "$secondary"),
                gap,
                (now, "bold reverse" if alarm else "bold"),
            )
        )
