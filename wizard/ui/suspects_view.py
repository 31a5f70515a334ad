"""What could be wrong, with odds as a word, a number and a bar."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from wizard.ui.fit import cut
from wizard.walk.assessment import Assessment, Suspect
from wizard.walk.drawing import short_name
from wizard.walk.odds import LEAST_SHOWN, odds_bar, odds_word

# Longer names would part the odds from what they are of.
_LONGEST_NAME = 32


class SuspectsView(Static):
    """The likeliest suspects first, as many as there are lines for."""

    DEFAULT_CSS = """
    SuspectsView { height: 7; padding: 0 1; }
    """

    def __init__(self) -> None:
        super().__init__("", markup=False)

    def show(self, assessment: Assessment, *, bars: bool = True) -> None:
        """Show these odds; without `bars`, in words and figures alone."""
        lines = self.size.height
        width = self.size.width
        heading: list[Content] = []
        if lines > 2:
            about = "odds to be at fault" if assessment.enough else "not enough to say which yet"
            heading = [Content.assemble(("SUSPECTS", "bold $primary"), ("  " + about, "italic"))]
        shown = [s for s in assessment.suspects if s.probability >= LEAST_SHOWN][: max(1, lines - len(heading))]
        rows = [_line(suspect, width, bars) for suspect in shown] or [Content(f"no suspect above {LEAST_SHOWN}")]
        self.update(Content("\n").join([*heading, *rows]))


def fault_name(part: str, fault: str) -> str:
    """A suspect in a few words; a plain excess of resistance goes without saying."""
    return short_name(part) if fault == "high-resistance" else f"{short_name(part)}, {short_name(fault)}"


def _line(suspect: Suspect, width: int, bars: bool) -> Content:
    name = fault_name(suspect.part, suspect.fault)
    if not bars:
        return Content(f"{name}, {odds_word(suspect.probability)}, {suspect.probability:.2f}")
    bar = odds_bar(suspect.probability, 5 if width < 50 else 10)
    odds = f" {odds_word(suspect.probability):11} {suspect.probability:4.2f} {bar}"
    room = min(_LONGEST_NAME, max(8, width - len(odds)))
    return Content.assemble((cut(name, room), "bold" if suspect.probability >= 0.5 else ""), odds)
