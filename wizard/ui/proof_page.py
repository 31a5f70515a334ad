"""Before and after each repair: what was read, what was foretold, what was won back and what is left."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from wizard.quantities import capitalised
from wizard.record.report import RepairLine, SpanLine
from wizard.ui.keybar import Key
from wizard.ui.visit import Page

WAITING = "Working out what each repair brought."


class ProofPage(Page):
    """Gives True when another repair is to be looked at."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("z", "other", show=False)]
    keys: ClassVar[list[Key]] = [("Up Down", "scroll"), ("z", "another repair"), ("Esc", "back")]
    about = (
        "Each span as it was before the repair, as it was foretold, and as it reads now, against what practice allows."
    )

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
        for span in repair.spans:
            lines += [Content(capitalised(span.span)), *_figures(span), Content("")]
        lines += [Content(f"! {line}") for line in repair.remains]
    return Content("\n").join(lines)


def _figures(span: SpanLine) -> list[Content]:
    against = f", {span.against}" if span.readings else ""
    read = f"  before {span.before}, foretold {span.predicted}, after "
    told = f"  {span.judged}" if span.readings else ""
    limit = f", limit {span.limit}" if span.limit else ""
    won = f", {span.won_back} won back" if span.won_back else ""
    margin = f", margin {span.margin}" if span.margin else ""
    lines = [Content.assemble(read, (span.after, "bold"), against)]
    second = f"{told}{limit}{margin}{won}".strip(" ,")
    return [*lines, Content(f"  {second}")] if second else lines
