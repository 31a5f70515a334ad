"""The volts along the run, plotted: the run downwards, volts lost to the right, measured against a sound circuit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from math import ceil

from textual.content import Content

from wizard.quantities import show_band, show_length, show_volts
from wizard.ui.fit import cut
from wizard.ui.visit import Page
from wizard.walk.assessment import JudgedReading
from wizard.walk.drawing import short_name
from wizard.walk.profile import LooseStep, ProfileRow, loose_steps

_SIDES = {"positive": "POSITIVE SIDE, from the post", "ground": "GROUND SIDE, from the case"}
# Columns of the names and of the figure; a metre of cable takes so many lines, and none takes more than the most.
_NAME, _FIGURE, _LINES_PER_M, _MOST_LINES = 24, 7, 0.5, 3
_LEGEND = (
    "o measured   = lost since the last point that was measured   : where a sound circuit runs\n"
    "A step at a joint is a bad joint. A slope along a cable is a thin or damaged one."
)
_LOOSE = "- and +: read between two points that nothing ties to the start; drawn from where a sound circuit runs"


class LossPage(Page):
    """Draws itself anew for the width it has."""

    DEFAULT_CSS = """
    LossPage > #sheet { max-width: 120; }
    """
    about = "The run goes downwards from point to point, and the volts lost so far to the right."

    def __init__(
        self, rows: Sequence[ProfileRow], readings: Sequence[JudgedReading], *, inch: bool, spoken: bool
    ) -> None:
        super().__init__("Volts lost along the run", "")
        self._rows = rows
        self._steps = loose_steps(rows, readings)
        self._inch = inch
        self._spoken = spoken

    def on_mount(self) -> None:
        super().on_mount()
        self._plot()

    def on_resize(self) -> None:
        super().on_resize()
        self._plot()

    def _plot(self) -> None:
        # The sheet's padding and its scroll bar take six columns.
        width = min(self.app.size.width, 120) - 6
        if self._spoken:
            self.show(spoken(self._rows, self._steps, inch=self._inch))
        else:
            self.show(plot(self._rows, self._steps, width, inch=self._inch))


def plot(rows: Sequence[ProfileRow], steps: Mapping[str, LooseStep], width: int, *, inch: bool = False) -> Content:
    """Both sides on one scale, in so many columns."""
    across = max(20, width - _NAME - _FIGURE - 2)
    ends_v = [step.from_v + step.volts for step in steps.values()]
    most_v = max([0.1, *(row.expected_v[2] for row in rows), *(row.measured_v or 0.0 for row in rows), *ends_v])
    full_v = _round_up(most_v)
    lines: list[Content] = []
    for side, of_side in groupby(rows, key=lambda row: row.side):
        lines.append(
            Content.styled(f"{cut(_SIDES[side], _NAME + _FIGURE + 2)}{_scale(full_v, across)}", "bold $primary")
        )
        points = list(of_side)
        lines += _side(points, steps, across, full_v, inch)
        if (wanted := _wanted(points)) is not None:
            lines.append(Content.styled(f"  {wanted}", "bold"))
        lines.append(Content(""))
    legend = f"{_LEGEND}\n{_LOOSE}" if steps else _LEGEND
    return Content("\n").join([*lines, Content.styled(legend, "$secondary")])


def _wanted(points: Sequence[ProfileRow]) -> str | None:
    """What to measure for a side's plot to begin; None once something is."""
    if any(row.measured_v is not None for row in points[1:]):
        return None
    start, end = short_name(points[0].point), short_name(points[-1].point)
    return f"To begin it, read from {start} to any point down to {end}, start held."


def spoken(rows: Sequence[ProfileRow], steps: Mapping[str, LooseStep], *, inch: bool = False) -> Content:
    """The same as sentences."""
    lines: list[str] = []
    sides = {side: list(of_side) for side, of_side in groupby(rows, key=lambda row: row.side)}
    for row in rows:
        if row.part is None:
            lines.append(_SIDES[row.side].capitalize())
            lines += [wanted] if (wanted := _wanted(sides[row.side])) is not None else []
            continue
        low, _, high = row.expected_v
        measured = "not measured" if row.measured_v is None else f"measured {show_volts(row.measured_v)}"
        at = show_length(round(row.position_m, 2), inch=inch)
        lines.append(f"Up to {short_name(row.point)}, {at}: {measured}, sound {show_band(low, high)}")
        if (step := steps.get(row.point)) is not None:
            lines.append(f"From {short_name(step.first)} to here: {show_volts(step.volts)}")
    return Content("\n".join(lines))


def _side(
    rows: list[ProfileRow], steps: Mapping[str, LooseStep], across: int, full_v: float, inch: bool
) -> list[Content]:
    lines: list[Content] = []
    known_v = 0.0
    for before, row in zip([None, *rows], rows, strict=False):
        if before is not None:
            metres = row.position_m - before.position_m
            extra = min(_MOST_LINES, ceil(metres * _LINES_PER_M)) - 1 if metres else 0
            for number in range(1, extra + 1):
                share = number / (extra + 1)
                middle = _between(before.expected_v, row.expected_v, share)
                text = f"  | {show_length(round(metres, 2), inch=inch)}" if number == 1 else "  |"
                lines.append(_line(text, "", _bars(middle, None, known_v, across, full_v)))
        figure = "?" if row.measured_v is None else show_volts(row.measured_v)
        bars = _bars(row.expected_v, row.measured_v, known_v, across, full_v)
        if (step := steps.get(row.point)) is not None:
            figure = f"+{show_volts(step.volts)}".replace("+-", "-")
            bars = _bars(row.expected_v, step.from_v + step.volts, step.from_v, across, full_v, lost="-")
        lines.append(_line(short_name(row.point), figure, bars))
        known_v = row.measured_v if row.measured_v is not None else known_v
    return lines


def _line(name: str, figure: str, bars: Content) -> Content:
    return Content.assemble(cut(name, _NAME), (f"{figure:>{_FIGURE}}", "bold"), "  ", bars)


def _bars(
    band: tuple[float, float, float],
    measured_v: float | None,
    known_v: float,
    across: int,
    full_v: float,
    lost: str = "=",
) -> Content:
    def column(volts: float) -> int:
        return min(across - 1, max(0, round(volts / full_v * (across - 1))))

    marks = [" "] * across
    styles = [""] * across
    for at in range(column(band[0]), column(band[2]) + 1):
        marks[at], styles[at] = ":", "$secondary"
    if measured_v is not None:
        start, end = sorted((column(known_v), column(measured_v)))
        style = "bold $error" if measured_v > band[2] + 0.02 else "bold $success"
        for at in range(start, end):
            marks[at], styles[at] = lost, style
        marks[column(measured_v)], styles[column(measured_v)] = "o", style
    return Content.assemble(*((mark, style) for mark, style in zip(marks, styles, strict=True)))


def _between(
    before: tuple[float, float, float], behind: tuple[float, float, float], share: float
) -> tuple[float, float, float]:
    low, middle, high = (a + (b - a) * share for a, b in zip(before, behind, strict=True))
    return low, middle, high


def _scale(full_v: float, across: int) -> str:
    half, full = f"{full_v / 2:g}", f"{full_v:g} V"
    left = f"0{half:>{across // 2}}"
    return f"{left}{full:>{across - len(left)}}"


def _round_up(volts: float) -> float:
    """The next of 0.1, 0.2, 0.5, 1, 2, 5 and so on."""
    step = 0.1
    for factor in (2.0, 2.5, 2.0) * 4:
        if step >= volts:
            break
        step *= factor
    return round(step, 2)
