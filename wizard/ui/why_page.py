"""Why this step, what good looks like, what usually goes wrong, and what else could be done."""

from __future__ import annotations

from textual.content import Content

from wizard.quantities import show_minutes
from wizard.ui.step_card import step_of
from wizard.walk.assessment import Assessment, Next
from wizard.walk.desk import Desk
from wizard.walk.drawing import short_name
from wizard.walk.flow import Step


def why_text(desk: Desk, assessment: Assessment, *, short: bool, lessons: bool) -> Content:
    """The reasons for the step at hand; `short` leaves out what the why page alone has room for, or the card says.

    Without `lessons` the usual mistakes and what good looks like are left out too.
    """
    step = assessment.next
    text = step_of(desk, step)
    on_card = short and step.kind in ("repair", "finish")
    lines = [Content.styled("WHY THIS STEP", "bold $primary"), *([] if on_card else [Content(step.why)])]
    if text is not None:
        if text.why.strip() not in step.why:
            lines.append(Content(text.why))
        lines += [] if short or not text.do else [Content(text.do)]
        lines += _about(text) if lessons else []
    if step.alternatives:
        lines.append(Content.styled("Or, next best", "bold"))
        shown = step.alternatives[:2] if short else step.alternatives
        lines += [Content(f"- {told(other)}") for other in shown]
    lines += [Content.styled(f"! {warning}", "$warning") for warning in assessment.warnings]
    return Content("\n").join(lines)


def lesson_text(step: Step) -> Content:
    """The longer teaching text of a step, with what good looks like and the usual mistakes."""
    return Content("\n").join([Content(f"{step.teach.strip() or step.why}\n"), *_about(step)])


def _about(step: Step) -> list[Content]:
    lines: list[Content] = []
    if step.good:
        lines.append(Content.assemble(("Good  ", "bold"), step.good))
    if step.mistakes:
        lines.append(Content.styled("Usual mistakes", "bold"))
        lines += [Content(f"- {mistake}") for mistake in step.mistakes]
    return lines


def told(other: Next) -> str:
    """A test in a line: what, how long, and why."""
    if other.clamp:
        what = f"clamp around {short_name(other.clamp)}"
    elif other.red and other.black:
        what = f"{short_name(other.red)} to {short_name(other.black)}"
    else:
        what = short_name(other.step or other.kind)
    minutes = f", {show_minutes(other.minutes)}" if other.minutes else ""
    return f"{what}{minutes}: {other.why}" if other.why else f"{what}{minutes}"
