"""The circuit drawn as a run, with the leads on it and every drop known beside what is sound and allowed."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from wizard.walk.drawing import Drop, Row, Section, Verdict, short_name

_STYLE = {
    Verdict.OVER: "bold $error",
    Verdict.MARGINAL: "bold $warning",
    Verdict.ABOVE: "$warning",
    Verdict.SOUND: "$success",
    Verdict.UNKNOWN: "$secondary",
}
# Lead, line between the leads, then after the names: lost, sound, limit and the word.
_LEFT, _LOST, _SOUND, _LIMIT, _WORD = 2, 5, 10, 6, 15
_NARROW_WORD = 11
# Where not all fits, parts are cut first: leads are put on points.
_LEAST_PART = 16
# A part that is this likely to be the fault has its odds written beside it.
_WORTH_SAYING = 0.2


class RunView(Vertical):
    """Scrolls to the leads when they move, and only then."""

    DEFAULT_CSS = """
    RunView { height: 1fr; }
    RunView > Static { height: 1; color: $primary; text-style: bold; }
    RunView > VerticalScroll { height: 1fr; scrollbar-size-vertical: 1; }
    RunView > VerticalScroll > Static { height: auto; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[Row] = []
        self._leads: tuple[int, ...] = ()

    def compose(self) -> ComposeResult:
        yield Static("", id="columns", markup=False)
        with VerticalScroll(can_focus=False):
            yield Static("", id="run", markup=False)

    def show(self, rows: list[Row]) -> None:
        """Draw these rows."""
        self._rows = rows
        self._draw()

    def scroll_rows(self, rows: int) -> None:
        """Move the drawing up or down."""
        self.query_one(VerticalScroll).scroll_relative(y=rows, animate=False)

    def on_resize(self) -> None:
        self._leads = ()
        self._draw()

    def _draw(self) -> None:
        width = self.size.width - 1
        if not self._rows or width < 30:
            return
        pen = _Pen.fitting(self._rows, width)
        lines, leads = pen.lines(self._rows)
        self.query_one("#columns", Static).update(pen.columns())
        self.query_one("#run", Static).update(Content("\n").join(lines))
        if leads != self._leads:
            self._leads = leads
            self.call_after_refresh(self._bring_into_view, leads)

    def _bring_into_view(self, leads: tuple[int, ...]) -> None:
        scroll = self.query_one(VerticalScroll)
        if not leads:
            return
        height = scroll.size.height
        first, last = min(leads), max(leads)
        if first >= scroll.scroll_y and last < scroll.scroll_y + height:
            return
        # Both leads when they fit, else the black one: it is the one that moves along the run.
        top = first - 1 if last - first < height else last - height + 2
        scroll.scroll_to(y=max(0, top), animate=False)


class _Pen:
    """Column widths for one width of the screen, and the lines drawn with them."""

    def __init__(self, point: int, part: int, word: int) -> None:
        self.point, self.part, self.word = point, part, word

    @classmethod
    def fitting(cls, rows: list[Row], width: int) -> _Pen:
        longest_point = max(len(short_name(row.point)) for row in rows)
        longest_part = max(len(short_name(row.part)) for row in rows)
        word = _WORD if width >= 100 else _NARROW_WORD
        room = width - (_LEFT + 3 + _LOST + _SOUND + _LIMIT + word)
        if longest_point + longest_part <= room:
            detail = max(len(_named(row)) for row in rows)
            return cls(longest_point, min(detail, room - longest_point), word)
        point = min(longest_point, max(room // 2, room - _LEAST_PART))
        return cls(point, max(4, room - point), word)

    def columns(self) -> str:
        names = f"{'':{_LEFT}}{'POINT':{self.point}} | {'PART':{self.part}}"
        return f"{names}{'lost':>{_LOST}}{'sound':>{_SOUND}}{'limit':>{_LIMIT}}  volts"

    def lines(self, rows: list[Row]) -> tuple[list[Content], tuple[int, ...]]:
        """The lines, and which of them have a lead or the clamp."""
        lines: list[Content] = []
        leads: list[int] = []
        section: Section | None = None
        for row in rows:
            if row.section is not section:
                section = row.section
                lines.append(Content.styled(f"{'':{_LEFT}}{section.value.upper()}", "$secondary"))
            if row.lead or row.clamped:
                leads.append(len(lines))
            lines.append(self._line(row))
            if row.stretch is not None:
                lines.append(self._stretch(row))
        return lines, tuple(leads)

    def _line(self, row: Row) -> Content:
        lead = row.lead or ("A" if row.clamped else "")
        line = Content.assemble(
            (lead, "bold reverse"),
            " " * (_LEFT - len(lead)),
            (_cut(short_name(row.point), self.point), "bold" if row.lead else ""),
        )
        if not row.part:
            return line
        bar = (" # ", "bold $primary") if row.between else (" | ", "$secondary")
        name = (_cut(_named(row) if len(_named(row)) <= self.part else short_name(row.part), self.part), "")
        return Content.assemble(line, bar, name, self._drop(row.drop, row.probability))

    def _stretch(self, row: Row) -> Content:
        text = f"reading {row.reading}: {short_name(row.since)} to here"
        width = self.point + 3 + self.part
        return Content.assemble((f"{'':{_LEFT}}{_cut(text, width)}", "italic $secondary"), self._drop(row.stretch, 0.0))

    def _drop(self, drop: Drop | None, probability: float) -> Content:
        if drop is None:
            return Content("")
        if drop.verdict is Verdict.UNKNOWN and probability >= _WORTH_SAYING:
            word, style = f"odds {probability:.2f}", "bold"
        else:
            word, style = drop.mark_and_word, _STYLE[drop.verdict]
        return Content.assemble(
            (f"{drop.lost:>{_LOST}}", style),
            (f"{drop.sound:>{_SOUND}}{drop.limit:>{_LIMIT}}", "$secondary"),
            (f" {word}"[: self.word], style),
        )


def _named(row: Row) -> str:
    return f"{short_name(row.part)}  {row.detail}" if row.detail else short_name(row.part)


def _cut(text: str, width: int) -> str:
    return text.ljust(width) if len(text) <= width else f"{text[: width - 1]}…"
