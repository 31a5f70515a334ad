"""The step at hand: what to do now, where the leads go and how, and what a sound circuit reads."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from wizard.quantities import show_band, show_volts
from wizard.ui.target import Target
from wizard.walk.assessment import Next
from wizard.walk.desk import Desk
from wizard.walk.drawing import short_name
from wizard.walk.flow import Step

_STATE = {"resting": "all off", "cranking": "start held"}


class StepCard(Static):
    """Keeps its height whatever the step, so that the entry below it stays where it is."""

    DEFAULT_CSS = """
    StepCard {
        height: 8; padding: 0 1;
        link-style: none; link-color: $foreground; link-background: $background;
        link-style-hover: none; link-color-hover: $background; link-background-hover: $foreground;
    }
    """

    def __init__(self) -> None:
        super().__init__("", markup=False)

    def show(self, card: Content) -> None:
        """Show this card; see `card`."""
        self.update(card)


def step_of(desk: Desk, step: Next) -> Step | None:
    """The flow's own text for a step, where it has one."""
    return desk.flow.steps.get(step.step) if step.step else None


def title_of(desk: Desk, step: Next, target: Target | None) -> str:
    """The step's title; a reading outside the walk is named by its span."""
    if target is not None and target.chosen:
        return "Your own reading"
    text = step_of(desk, step)
    if text is not None and not (text.kind == "split" and step.kind in ("repair", "finish")):
        return text.title
    return {"measure": "Best next reading", "prove": "Prove the repair", "repair": "What to repair"}.get(
        step.kind, "Nothing more to do"
    )


def card(desk: Desk, step: Next, target: Target | None) -> Content:
    """The lines of the step at hand."""
    lines = [_heading(desk, step, target)]
    text = step_of(desk, step)
    if target is not None:
        if text is not None and text.do and not target.chosen:
            lines.append(Content(text.do))
        else:
            held = "Hold start for 5 s and read." if target.state == "cranking" else "Everything off, then read."
            lines.append(Content(held))
        lines += [*_leads(desk, target), _allowed(desk, target, None if target.chosen else step.minutes)]
    elif step.kind == "ask":
        lines.append(Content(text.do if text is not None else step.why))
        lines += [_choice(number, label) for number, (_, label) in enumerate(choices(desk, step), 1)]
    elif step.kind == "repair":
        lines += _repair(desk, step)
    elif step.kind == "caution":
        lines.append(Content(text.do if text is not None and text.do else step.why))
        if text is not None and text.good:
            lines.append(Content.assemble(("Good  ", "bold"), text.good))
        lines.append(_press("Enter", f"reads {len(step.cautions or [])} cautions; confirm them once for this job"))
    else:
        lines.append(Content(step.why))
        if step.kind == "finish":
            lines.append(_press("f", "shows what was found"))
    return Content("\n").join(lines)


def choices(desk: Desk, step: Next) -> list[tuple[str, str]]:
    """Choices of a step that asks: id and label. A part of the map may be one of them."""
    labels = text.choices if (text := step_of(desk, step)) is not None else {}
    parts = desk.circuit.parts

    def label(choice: str) -> str:
        if choice in labels:
            return labels[choice]
        return parts[choice].part.label if choice in parts else short_name(choice)

    return [(choice, label(choice)) for choice in step.choices or []]


def _heading(desk: Desk, step: Next, target: Target | None) -> Content:
    parts = [Content.styled(title_of(desk, step, target), "bold")]
    if target is not None:
        parts.append(Content.styled(f" {_STATE[target.state]} ", "bold reverse"))
    if target is not None and step.acting_up and not target.chosen:
        parts.append(Content.styled(" while it fails ", "bold reverse"))
    return Content("  ").join(parts)


def _leads(desk: Desk, target: Target) -> list[Content]:
    points, parts = desk.circuit.map.points, desk.circuit.map.parts
    if target.clamp is not None:
        return [Content.assemble(("Clamp  ", "bold"), f"around the {parts[target.clamp].label}, zeroed first")]
    lines: list[Content] = []
    for name, lead in ((target.red, "Red    "), (target.black, "Black  ")):
        if name is not None:
            point = points[name]
            lines.append(Content.assemble((lead, "bold"), (point.label, "bold"), f": {point.probe}"))
    return lines


def _allowed(desk: Desk, target: Target, minutes: float | None) -> Content:
    unit_a = target.clamp is not None
    said: list[str] = []
    if target.expected_v is not None:
        low, high = target.expected_v
        said.append(f"Sound: {low:.0f} to {high:.0f} A." if unit_a else f"Sound: {show_band(low, high)}.")
    if target.limit_v is not None and not unit_a:
        floor = desk.limits.floor_row(desk.circuit, target.state, target.red or "", target.black or "")
        least = "Practice wants at least" if floor else "Practice allows"
        said.append(f"{least} {show_volts(target.limit_v)}.")
    if minutes:
        said.append(f"{minutes:.0f} min.")
    return Content.styled("  ".join(said), "$secondary")


def _repair(desk: Desk, step: Next) -> list[Content]:
    repair = desk.circuit.repairs.get(step.repair or "")
    lines = [Content.styled(f"{repair.label[0].upper()}{repair.label[1:]}.", "bold $primary")] if repair else []
    return [*lines, Content(step.why), _press("f", "shows the finding, its evidence and its cautions")]


def _choice(number: int, label: str) -> Content:
    return Content.from_markup(f"[@click=screen.choose({number})][bold $primary]  {number}  [/]$label[/]", label=label)


def _press(key: str, what: str) -> Content:
    return Content.assemble((key, "bold $primary"), f" {what}.")
