"""The circuit drawn as a run, with the leads on it and every drop known beside what is sound and allowed."""

from __future__ import annotations

from dataclasses import dataclass

from textual import events
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from wizard.quantities import show_band, show_length
from wizard.ui.fit import cut
from wizard.walk.drawing import Drop, Row, Section, Verdict, short_name

_STYLE = {
    Verdict.OVER: "bold $error",
    Verdict.TOO_LOW: "bold $error",
    Verdict.MARGINAL: "bold $warning",
    Verdict.TOO_SMALL: "bold $warning",
    Verdict.WATCH: "$warning",
    Verdict.IDLE: "$warning",
    Verdict.SOUND: "$success",
    Verdict.ROUGH: "$secondary",
    Verdict.UNKNOWN: "$secondary",
}
# Lead, line between the leads, then after the names: lost, sound, limit and the least for the word.
_LEFT, _LOST, _SOUND, _LIMIT, _WORD = 2, 5, 10, 6, 10
# Where not all fits, parts are cut first: leads are put on points.
_LEAST_PART = 16
# A part that is this likely to be the fault has its odds written beside it.
_WORTH_SAYING = 0.2


class Drawing(Static):
    """The lines of the run."""

    @dataclass
    class Clicked(Message):
        """One of its lines was clicked, counted from 0."""

        line: int

    def on_click(self, event: events.Click) -> None:
        self.post_message(self.Clicked(event.y))


class RunView(Vertical):
    """Scrolls to the leads when they move, and only then. One part of it can be pointed at."""

    DEFAULT_CSS = """
    RunView { height: 1fr; }
    RunView > #columns { height: 1; color: $primary; text-style: bold; }
    RunView > VerticalScroll { height: 1fr; scrollbar-size-vertical: 1; }
    RunView > VerticalScroll > Static { height: auto; }
    """

    @dataclass
    class Opened(Message):
        """A part was clicked."""

        part: str

    def __init__(self) -> None:
        super().__init__()
        self.inch = False
        self.spoken = False
        self.pointed: str | None = None
        self._rows: list[Row] = []
        self._row_of_line: list[Row | None] = []
        self._leads: tuple[int, ...] = ()

    def compose(self) -> ComposeResult:
        yield Static("", id="columns", markup=False)
        with VerticalScroll(can_focus=False):
            yield Drawing("", id="run", markup=False)

    def show(self, rows: list[Row]) -> None:
        """Draw these rows."""
        self._rows = rows
        self._draw()

    def scroll_rows(self, rows: int) -> None:
        """Move the drawing up or down."""
        self.query_one(VerticalScroll).scroll_relative(y=rows, animate=False)

    def point(self, step: int) -> None:
        """Point at a part further on or back; the first time at the first one between the leads."""
        parts = [row for row in self._rows if row.part]
        if not parts:
            return
        names = [row.part for row in parts]
        if self.pointed in names:
            number = min(max(names.index(self.pointed) + step, 0), len(parts) - 1)
        else:
            number = next((n for n, row in enumerate(parts) if row.between or row.clamped), 0)
        self.pointed = names[number]
        self._draw()
        line = next(n for n, row in enumerate(self._row_of_line) if row is parts[number])
        self.call_after_refresh(self._keep_in_view, line)

    def on_resize(self) -> None:
        self._leads = ()
        self._draw()

    def on_drawing_clicked(self, event: Drawing.Clicked) -> None:
        row = self._row_of_line[event.line] if event.line < len(self._row_of_line) else None
        if row is not None and row.part:
            self.pointed = row.part
            self._draw()
            self.post_message(self.Opened(row.part))

    def _draw(self) -> None:
        width = self.size.width - 1
        if not self._rows or width < 30:
            return
        pen = Pen.fitting(self._rows, width, inch=self.inch, spoken=self.spoken)
        lines, rows = pen.lines(self._rows, self.pointed)
        # A sentence may take several lines of the screen.
        tall = [len(line.wrap(width)) if self.spoken else 1 for line in lines]
        self._row_of_line = [row for row, height in zip(rows, tall, strict=True) for _ in range(height)]
        leads = tuple(n for n, row in enumerate(self._row_of_line) if row and (row.lead or row.clamped))
        self.query_one("#columns", Static).update(pen.columns())
        self.query_one("#run", Static).update(Content("\n").join(lines))
        if leads != self._leads:
            self._leads = leads
            self.call_after_refresh(self._bring_into_view, leads)

    def _keep_in_view(self, line: int) -> None:
        scroll = self.query_one(VerticalScroll)
        if not scroll.scroll_y <= line < scroll.scroll_y + scroll.size.height:
            scroll.scroll_to(y=max(0, line - scroll.size.height // 2), animate=False)

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


@dataclass(frozen=True)
class Pen:
    """Column widths for one width of the screen, and the lines drawn with them."""

    point: int
    part: int
    word: int
    inch: bool = False
    spoken: bool = False

    @classmethod
    def fitting(cls, rows: list[Row], width: int, *, inch: bool, spoken: bool) -> Pen:
        """The widths that show these rows best in so many columns."""
        longest_point = max(len(short_name(row.point)) for row in rows)
        longest_part = max(len(short_name(row.part)) for row in rows)
        drops = [drop for row in rows for drop in (row.drop, row.stretch) if drop is not None]
        word = max([_WORD, *(len(drop.mark_and_word) + 1 for drop in drops)])
        room = width - (_LEFT + 3 + _LOST + _SOUND + _LIMIT + word)
        if longest_point + longest_part <= room:
            detail = max(len(_named(row, inch)) for row in rows)
            return cls(longest_point, min(detail, room - longest_point), word, inch, spoken)
        point = min(longest_point, max(room // 2, room - _LEAST_PART))
        return cls(point, max(4, room - point), word, inch, spoken)

    def columns(self) -> str:
        """The line above the drawing."""
        if self.spoken:
            return "The run, from the battery's positive post on"
        names = f"{'':{_LEFT}}{'POINT':{self.point}} | {'PART':{self.part}}"
        return f"{names}{'lost':>{_LOST}}{'sound':>{_SOUND}}{'limit':>{_LIMIT}}  in volts"

    def lines(self, rows: list[Row], pointed: str | None) -> tuple[list[Content], list[Row | None]]:
        """The lines, and the row that each is of; None for the heading of a stretch."""
        lines: list[Content] = []
        of: list[Row | None] = []
        section: Section | None = None
        for row in rows:
            if row.section is not section:
                section = row.section
                lines.append(Content.styled(f"{'':{_LEFT}}{section.value.upper()}", "$secondary"))
                of.append(None)
            lines.append(self._sentence(row, pointed) if self.spoken else self._line(row, pointed))
            of.append(row)
            if row.stretch is not None:
                lines.append(self._stretch(row))
                of.append(None)
        return lines, of

    def _line(self, row: Row, pointed: str | None) -> Content:
        lead = row.lead or ("A" if row.clamped else "")
        style = "bold reverse"
        if row.barred and not lead:
            lead, style = "x", "bold $warning"
        here = bool(row.part) and row.part == pointed
        line = Content.assemble(
            (lead, style),
            (">" if here else " ").rjust(_LEFT - len(lead)),
            (cut(short_name(row.point), self.point), "bold" if row.lead else ""),
        )
        if not row.part:
            return line
        bar = (" # ", "bold $primary") if row.between else (" | ", "$secondary")
        full = _named(row, self.inch)
        name = cut(full if len(full) <= self.part else short_name(row.part), self.part)
        return Content.assemble(line, bar, (name, "reverse" if here else ""), self._drop(row.drop, row.probability))

    def _sentence(self, row: Row, pointed: str | None) -> Content:
        here = "You point here: " if row.part and row.part == pointed else ""
        lead = {"R": "Red lead here: ", "B": "Black lead here: "}.get(row.lead, "")
        words = [f"{here}{lead}{short_name(row.point)}{', out of reach' if row.barred else ''}"]
        if row.part:
            words.append(f"then {_named(row, self.inch)}{', clamp around it' if row.clamped else ''}")
        drop = row.drop
        if row.part and drop is not None:
            words.append("not known yet" if drop.lost == "?" else f"lost {drop.lost}")
            words += [f"sound {drop.sound.replace('-', ' to ')}"] if drop.sound else []
            words += [f"limit {drop.limit}"] if drop.limit else []
            words += [drop.verdict.value] if drop.verdict.value else []
            words += [f"odds {row.probability:.2f}"] if row.probability >= _WORTH_SAYING else []
        return Content(", ".join(words))

    def _stretch(self, row: Row) -> Content:
        several = f", {show_band(*row.several)}" if row.several is not None else ""
        text = f"reading {row.reading}{several}: {short_name(row.since)} to here"
        if self.spoken and row.stretch is not None:
            sound = row.stretch.sound.replace("-", " to ")
            return Content(f"{text}, lost {row.stretch.lost}, sound {sound}, limit {row.stretch.limit}")
        width = self.point + 3 + self.part
        return Content.assemble((f"{'':{_LEFT}}{cut(text, width)}", "italic $secondary"), self._drop(row.stretch, 0.0))

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


def _named(row: Row, inch: bool) -> str:
    if row.length_m is None:
        return short_name(row.part)
    return f"{short_name(row.part)}  {show_length(row.length_m, inch=inch)} {row.size}"
