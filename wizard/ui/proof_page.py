"""Before and after each repair: what was read, what was predicted, what was won back and what is left."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.quantities import capitalised
from wizard.record.report_lines import RepairLine, SpanLine
from wizard.ui.keybar import Key
from wizard.ui.visit import Page

WAITING = "Working out what each repair brought."


class ProofPage(Page):
    """Gives True when another repair is to be looked at."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("z", "other", show=False)]
    keys: ClassVar[list[Key]] = [("Up Down", "scroll"), ("z", "another repair"), ("Esc", "back")]
    about = "Each span before the repair, as predicted, and as it reads now, against what practice allows."

    def __init__(self) -> None:
        super().__init__("Before and after the repair", WAITING)

    def action_other(self) -> None:
        self.dismiss(True)


def proof_text(repairs: Sequence[RepairLine]) -> Content:
    """The repairs of a job, the latest first, each with the spans of its proof."""
    lines: list[Content] = []
    for repair in reversed(repairs):
        lines.append(Content.styled(f"{repair.number}. {capitalised(repair.label)}", "bold $primary"))
        lines += [Content(line) for line in repair.fitted]
        lines += [Content.styled(f"{repair.result}\n", "bold")]
        unread = [span for span in repair.spans if not span.readings] if repair.helped is False else []
        for span in (span for span in repair.spans if span not in unread):
            lines += [Content(capitalised(span.span)), *_figures(span), Content("")]
        if unread:
            names = "; ".join(span.span for span in unread)
            lines.append(Content(f"Not read again, since it did not help: {names}.\n"))
        lines += [Content(f"! {line}") for line in repair.remains]
    return Content("\n").join(lines)


def _figures(span: SpanLine) -> list[Content]:
    lines = [Content(f"  At first   {span.first}")] if span.first else []
    lines += [Content(f"  Before     {span.before}"), Content(f"  Predicted  {span.predicted}")]
    against = f", {span.against}" if span.readings and span.against else ""
    lines.append(Content.assemble("  After      ", (span.after, "bold"), against))
    judged = [text for text in (span.judged if span.readings else "", span.won_back) if text]
    limit = f"  Limit      {span.limit}{f': {span.margin}' if span.margin else ''}"
    return [*lines, *([Content(limit)] if span.limit else []), *([Content(f"  {', '.join(judged)}")] if judged else [])]
