"""What could be wrong, with odds as a word, a number and a bar."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from wizard.ui.fit import cut
from wizard.walk.assessment import Assessment, Suspect
from wizard.walk.drawing import short_name
from wizard.walk.odds import odds_bar, odds_word

_LEAST_SHOWN = 0.005
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
            doubt = "" if assessment.enough else "   not enough to say yet"
            heading = [Content.assemble(("SUSPECTS", "bold $primary"), (doubt, "italic"))]
        shown = [s for s in assessment.suspects if s.probability >= _LEAST_SHOWN][: max(1, lines - len(heading))]
        rows = [_line(suspect, width, bars) for suspect in shown] or [Content("nothing above 0.5 %")]
        self.update(Content("\n").join([*heading, *rows]))


def suspect_name(suspect: Suspect) -> str:
    """A suspect in a few words; a plain excess of resistance goes without saying."""
    if suspect.fault == "high-resistance":
        return short_name(suspect.part)
    return f"{short_name(suspect.part)}, {short_name(suspect.fault)}"


def _line(suspect: Suspect, width: int, bars: bool) -> Content:
    if not bars:
        return Content(f"{suspect_name(suspect)}, {odds_word(suspect.probability)}, {suspect.probability:.2f}")
    bar = odds_bar(suspect.probability, 5 if width < 50 else 10)
    odds = f" {odds_word(suspect.probability):11} {suspect.probability:4.2f} {bar}"
    room = min(_LONGEST_NAME, max(8, width - len(odds)))
    return Content.assemble((cut(suspect_name(suspect), room), "bold" if suspect.probability >= 0.5 else ""), odds)
