"""One minute for someone who has never seen it."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from wizard.ui.keybar import Key
from wizard.ui.visit import Page

_STOPS = (
    "This wizard finds where a starting circuit loses its volts. It says where to put the leads, you crank, you "
    "type what the meter shows, and it narrows down until one repair is left.\n\n"
    "Press n at home for your own vehicle, or d for a made-up one with a meter that reads itself.",
    "The job screen answers two questions: what do I do now, and where are the volts going.\n\n"
    "The step says what to do and where red and black go. The drawing shows the run from post to post, with R and B "
    "where your leads are and what every part has lost so far.",
    "Type the reading and press Enter: 0.7 or ,7 or 700 mV, open for a break. A range is 0.5-0.7 or 0.5 to 0.7.\n\n"
    "While the line is empty, letters are keys. The line at the bottom names them, and you can click them.",
    "Nothing you do is lost or final: u takes the last thing back, r lists every reading, Esc goes one step back, and "
    "the job is on disk all the time.\n\n"
    "j jumps to any step, point, part or reading. b changes between the walk and the best next test.",
    "w says why, l teaches, g explains the trade's words, c shows the cautions, F1 helps on any screen.\n\n"
    "The maker's service information, local rules and licensed practice come first. Read the cautions first.",
)


class Tour(Page):
    """A page for each stop; Enter goes on, Esc leaves at once."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "on", show=False)]
    keys: ClassVar[list[Key]] = [("Enter", "next"), ("Esc", "leave the tour")]

    def __init__(self) -> None:
        super().__init__(f"One minute around, 1 of {len(_STOPS)}", _STOPS[0])
        self._stop = 0

    def action_on(self) -> None:
        self._stop += 1
        if self._stop == len(_STOPS):
            self.dismiss(True)
            return
        self.set_heading(f"One minute around, {self._stop + 1} of {len(_STOPS)}")
        self.show(_STOPS[self._stop])
