"""What was found, what shows it, and what to do about it, with its cautions."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.diagnosis.faults import NO_REPAIR
from wizard.quantities import capitalised
from wizard.record.repair_words import effort_words
from wizard.ui.cautions_page import cautions_text
from wizard.ui.keybar import Key
from wizard.ui.readings_page import reading_line
from wizard.ui.visit import Page
from wizard.walk.assessment import Assessment
from wizard.walk.desk import Desk
from wizard.walk.odds import LEAST_SHOWN, odds_bar, odds_word


class FindingPage(Page):
    """Gives True when the repair is said to be done, False to see how it is done.

    `to_open` says in its keys what there is to see; empty when there is nothing.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "done", show=False),
        Binding("z", "open", show=False),
    ]

    def __init__(self, desk: Desk, assessment: Assessment, *, can_repair: bool, to_open: str) -> None:
        super().__init__("What was found", finding_text(desk, assessment))
        self._can_repair = can_repair
        self._to_open = to_open
        self.keys: list[Key] = [  # pyright: ignore[reportIncompatibleVariableOverride]
            ("Up Down", "scroll"),
            *([("z", to_open)] if to_open else []),
            *([("Enter", "read on, then: the repair is done")] if can_repair else []),
            ("Esc", "back"),
        ]

    def action_done(self) -> None:
        if self._can_repair and self.at_end():
            self.dismiss(True)

    def action_open(self) -> None:
        if self._to_open:
            self.dismiss(False)


def _still_past(assessment: Assessment) -> list[Content]:
    """Readings since the repair that are past what practice allows, but for those that show what is found."""
    shown = assessment.finding.evidence if assessment.finding else []
    past = [reading_line(r) for r in assessment.readings if r.past_limit and not r.in_doubt and r.id not in shown]
    return [Content.styled("Still past what practice allows", "bold"), *past, Content("")] if past else []


def finding_text(desk: Desk, assessment: Assessment) -> Content:
    """The finding, its evidence, the odds of every repair, and the cautions that the work carries."""
    finding = assessment.finding
    repairs = desk.circuit.repairs
    unproved = assessment.next.kind == "prove"
    proved = finding is not None and bool(finding.proved)
    lines: list[Content] = []
    standing = assessment.standing
    failed = standing is not None and standing.stands == "did-not-help"
    if standing is not None and failed:
        lines += [Content.styled(f"{standing.told}\n", "bold"), *_still_past(assessment)]
    if finding is None:
        head = "The repair is not proved yet." if unproved else "Nothing is found yet."
        lines += [Content.styled(head, "bold"), Content(f"{assessment.next.why}\n")]
    else:
        repair = repairs.get(finding.repair)
        label = repair.label if repair else finding.repair.replace("-", " ")
        done = "Done, not proved yet" if standing and standing.stands == "to-count" else "Done and proved"
        head = f"{done}: {label}." if proved and not failed else f"{capitalised(label)}."
        lines += [Content.styled(head, "bold $primary"), Content(f"{finding.statement}\n")]
        if standing is not None and standing.stands == "to-count":
            lines.append(Content(f"{standing.told}\n"))
        if proved and assessment.repairs[0].repair == NO_REPAIR:
            lines.append(Content("The readings since then show nothing else that wants a repair.\n"))
        if repair is not None and repair.minutes and finding.repair != NO_REPAIR and not proved:
            lines.append(Content(f"{effort_words(repair.minutes, repair.cost)} {repair.note}".strip() + "\n"))
        if finding.also is not None:
            lines.append(Content(f"{finding.also}\n"))
        shown = [r for r in assessment.readings if r.id in finding.evidence]
        if shown:
            lines.append(Content.styled("Readings that show it", "bold"))
            lines += [*(reading_line(reading) for reading in shown), Content("")]
    done = proved or unproved
    heading = "What to repair next" if done else "What to repair first"
    lines.append(Content.assemble((heading, "bold"), ", with odds that add up to 1"))
    for odds in assessment.repairs:
        if odds.probability >= LEAST_SHOWN:
            label = repairs[odds.repair].label if odds.repair in repairs else odds.repair
            if odds.repair == NO_REPAIR:
                label = "nothing more" if done else "nothing: no part is at fault"
            word = odds_word(odds.probability)
            lines.append(Content(f"{odds.probability:4.2f} {odds_bar(odds.probability)} {word:11} {label}"))
    lines += [Content(f"! {warning}") for warning in assessment.warnings]
    lines.append(Content(""))
    if finding and finding.cautions and assessment.next.kind == "repair":
        lines.append(Content.styled("Read and do these before the repair", "bold"))
    lines.append(cautions_text(desk.cautions, finding.cautions if finding else []))
    return Content("\n").join(lines)
