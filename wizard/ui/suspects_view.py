"""What could be wrong, with odds as a word, a number and a bar."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

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

    def show(self, assessment: Assessment) -> None:
        """Show these odds."""
        lines = self.size.height
        width = self.size.width
        heading: list[Content] = []
        if lines > 2:
            doubt = "" if assessment.enough else "   not enough to say yet"
            heading = [Content.assemble(("SUSPECTS", "bold $primary"), (doubt, "italic"))]
        shown = [s for s in assessment.suspects if s.probability >= _LEAST_SHOWN][: max(1, lines - len(heading))]
        self.update(Content("\n").join([*heading, *(_line(suspect, width) for suspect in shown)]))


def suspect_name(suspect: Suspect) -> str:
    """A suspect in a few words; a plain excess of resistance goes without saying."""
    if suspect.fault == "high-resistance":
        return short_name(suspect.part)
    return f"{short_name(suspect.part)}, {short_name(suspect.fault)}"


def _line(suspect: Suspect, width: int) -> Content:
    bar = odds_bar(suspect.probability, 5 if width < 50 else 10)
    odds = f" {odds_word(suspect.probability):11} {suspect.probability:4.2f} {bar}"
    room = min(_LONGEST_NAME, max(8, width - len(odds)))
    name = suspect_name(suspect)
    name = name if len(name) <= room else f"{name[: room - 1]}…"
    return Content.assemble((f"{name:{room}}", "bold" if suspect.probability >= 0.5 else ""), odds)
