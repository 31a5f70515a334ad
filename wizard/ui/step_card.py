"""The step at hand: what to do now, where the leads go and how, and what a sound circuit reads."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from wizard.quantities import capitalised, show_band, show_minutes, show_volts
from wizard.ui.crank import HOLD_S
from wizard.ui.fit import within
from wizard.ui.target import Target
from wizard.walk.assessment import Next
from wizard.walk.desk import Desk
from wizard.walk.drawing import short_name
from wizard.walk.flow import LONG_MINUTES, Step

_HOLD = f"Hold start up to {HOLD_S:.0f} s. If it stands still, let go once you have read."
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
        self._card = self._rest = self._shown = Content("")

    def show(self, card: Content, rest: Content) -> None:
        """Show this card; `rest` takes the place of what there is no room for. See `card` and `rest_of`."""
        self._card, self._rest = card, rest
        self._fit()

    def on_resize(self) -> None:
        self._fit()

    def _fit(self) -> None:
        # A layout whose card is as high as its text has no room to measure against, but a most.
        most = self.styles.max_height
        height = int(most.value) - self.styles.padding.height if most is not None else self.size.height
        self._shown = within(self._card, self.size.width, height, self._rest)
        self.update(self._shown)

    def offers(self, number: int) -> bool:
        """Whether the answer with this number is in sight."""
        return any(line.startswith(_number(number)) for line in self._shown.plain.splitlines())


def step_of(desk: Desk, step: Next) -> Step | None:
    """The flow's own text for a step, where it has one."""
    return desk.flow.steps.get(step.step) if step.step else None


def title_of(desk: Desk, step: Next, target: Target | None) -> str:
    """The step's title; a reading outside the walk is named by its span."""
    if target is not None and target.chosen:
        return "Your own reading"
    text = step_of(desk, step)
    if step.again is not None:
        return "Read it again"
    if text is not None and not (text.kind == "split" and step.kind in ("repair", "finish")):
        return text.title
    return {"measure": "Best next reading", "prove": "Prove the repair", "repair": "What to repair"}.get(
        step.kind, "Nothing more to do"
    )


def card(
    desk: Desk, step: Next, target: Target | None, before: Target | None = None, *, uncounted: bool = False
) -> Content:
    """The lines of the step at hand; `before` is what the leads are on.

    `uncounted` says of a fault that comes and goes that nobody told yet how often.
    """
    lines = [_heading(desk, step, target)]
    text = step_of(desk, step)
    if target is not None:
        if step.again is not None and not target.chosen:
            lines.append(Content.styled(step.why, "$warning"))
        else:
            held = _HOLD if target.state == "cranking" else "Everything off, then read."
            own = text.do if text is not None and not target.chosen else ""
            if step.kind == "prove":
                # One text serves every span of a proof, whatever the state it is read in, and is said at the first.
                own = f"{own} {held}" if before is None else held
            lines.append(Content(own or held))
        lines += [*_leads(desk, target, before), _allowed(desk, target, None if target.chosen else step.minutes)]
        if step.first_read is not None and not target.chosen:
            lines.append(Content(step.first_read))
    elif step.kind == "ask":
        if step.repair is not None:
            # What is to be opened for a look.
            lines.append(Content.styled(step.why, "bold"))
        lines.append(Content(text.do if text is not None else step.why))
        if text is not None and text.counted is not None:
            lines.append(_press("i", "counts them, and asks how often it failed before"))
        lines += [_choice(number, label) for number, (_, label) in enumerate(choices(desk, step), 1)]
    elif step.kind == "repair":
        lines += _repair(desk, step)
        if uncounted:
            lines.append(_press("i", "tells how often it fails, before the repair: no good start proves much without"))
    elif step.kind == "caution":
        lines.append(Content(text.do if text is not None and text.do else step.why))
        if text is not None and text.good:
            lines.append(Content.assemble(("Good  ", "bold"), text.good))
        many = len(step.cautions or [])
        which = "reads the caution; confirm it" if many == 1 else f"reads {many} cautions; confirm them"
        lines.append(_press("Enter", f"{which} once for this job"))
    else:
        if step.kind == "finish" and text is not None and text.kind == "finish":
            # Before what may take more room than there is: it says to undo what kept the engine from firing.
            lines.append(Content.styled(text.do, "bold"))
        lines.append(Content(step.why))
        if step.kind == "finish":
            lines += [
                _press("f", "shows what was found; z the readings before and after a repair"),
                _press("q", "writes the report; y adds labour and parts to it"),
                _press("i", "counts good starts, for a fault that comes and goes"),
                _press("Esc", "goes home; the job stays on the list"),
            ]
    return Content("\n").join(lines)


def rest_of(desk: Desk, step: Next) -> Content:
    """What stands on a card's last line when there is more of it than room."""
    if step.kind == "ask":
        return _press("Enter", f"lists all {len(choices(desk, step))} answers, to be found by a few letters")
    return _press("w", "shows the rest of this")


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
    if step.kind == "ask" and target is None and step.minutes and step.minutes >= LONG_MINUTES:
        parts.append(Content.styled(capitalised(show_minutes(step.minutes)), "$secondary"))
    if target is not None and step.acting_up and not target.chosen:
        parts.append(Content.styled(" while it fails ", "bold reverse"))
    return Content("  ").join(parts)


def _leads(desk: Desk, target: Target, before: Target | None) -> list[Content]:
    points, parts = desk.circuit.map.points, desk.circuit.map.parts
    if target.clamp is not None:
        return [Content.assemble(("Clamp  ", "bold"), f"around the {parts[target.clamp].label}, zeroed first")]
    lines: list[Content] = []
    was = (before.red, before.black) if before is not None else (None, None)
    one_stays = target.red == was[0] or target.black == was[1]
    for name, lead, on in ((target.red, "Red    ", was[0]), (target.black, "Black  ", was[1])):
        if name is None:
            continue
        point = points[name]
        how = "leave it there" if name == on else f"move it here, {point.probe}" if one_stays else point.probe
        lines.append(Content.assemble((lead, "bold"), (point.label, "bold"), f": {how}"))
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
        said.append(f"Takes {show_minutes(minutes)}.")
    return Content.styled("  ".join(said), "$secondary")


def _repair(desk: Desk, step: Next) -> list[Content]:
    repair = desk.circuit.repairs.get(step.repair or "")
    lines = [Content.styled(f"{capitalised(repair.label)}.", "bold $primary")] if repair else []
    return [*lines, Content(step.why), _press("f", "shows the finding, its evidence and its cautions")]


def _choice(number: int, label: str) -> Content:
    name = _number(number)
    return Content.from_markup(f"[@click=screen.choose({number})][bold $primary]{name}[/]$label[/]", label=label)


def _number(number: int) -> str:
    return f"  {number}  "


def _press(key: str, what: str) -> Content:
    return Content.assemble((key, "bold $primary"), f" {what}.")
