"""The drawn circuit and the volts along its run, as SVG for print in black and white.

Every text is escaped; nothing in a drawing refers to anything outside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from xml.sax.saxutils import escape

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Kind
from wizard.record.report_lines import Drawn
from wizard.walk.drawing import Row, Section, Verdict
from wizard.walk.profile import ProfileRow

_WIDTH = 1000
# Where the positive side goes down and the ground side comes up; paths beside them run further out.
_LEFT, _RIGHT, _TOP, _ROW = 235, 765, 90, 50
_OUTER_LEFT, _OUTER_RIGHT, _BESIDE_STEP = 22, 978, 16
_FONT = "DejaVu Sans, Helvetica, Arial, sans-serif"
_LONGEST = 50
# The plot: its frame, and how much width a part without a length gets, as a share of the longest part's.
_PLOT = (70, 30, 960, 330)
_JOINT_SHARE = 0.22
_BAD = (Verdict.OVER, Verdict.TOO_LOW, Verdict.MARGINAL)


def circuit_svg(circuit: Circuit, drawn: Drawn) -> str:
    """The circuit as a ladder: battery on top, the positive side down to the motor, the ground side back up.

    Each part has its symbol, its label and what it loses; a part over its limit is drawn heavy and says so in words.
    """
    return _Ladder(circuit, drawn).svg()


class _Ladder:
    def __init__(self, circuit: Circuit, drawn: Drawn) -> None:
        self.circuit, self.labels = circuit, drawn.labels
        self.rows = drawn.rows
        self.down = [row for row in self.rows if row.section in (Section.POSITIVE, Section.STARTER)]
        self.up = [row for row in self.rows if row.section is Section.GROUND]
        self.height = max(len(self.down) - 2, len(self.up) - 1, 4) * _ROW
        self.bottom = _TOP + self.height
        self.at: dict[str, tuple[float, float]] = {}

    def svg(self) -> str:
        # The last row of the way down is the starter itself.
        left = [row for row in self.down if row.part != "starter"]
        points = [*(row.point for row in left), self.circuit.map.starter.positive]
        right = list(reversed([row.point for row in self.up]))
        self._place(dict.fromkeys(points), _LEFT)
        self._place(right, _RIGHT)
        body = [
            *self._battery(),
            *self._motor(),
            *self._side(left, outward=-1),
            *self._side([row for row in self.up if row.part], outward=1),
            *self._beside(),
            *self._control(),
        ]
        return _svg(_WIDTH, self.bottom + 92, "The circuit with the volts lost in each part", body)

    def _place(self, points: Iterable[str], x: float) -> None:
        names = list(points)
        step = self.height / max(len(names) - 1, 1)
        for number, name in enumerate(names):
            self.at[name] = (x, _TOP + number * step)

    def _label(self, name: str) -> str:
        return self.labels.get(name, name)

    def _facts(self, row: Row) -> str:
        size = self.labels.get(f"size:{row.part}", "")
        return f"{_loss(row)}, {size}" if size else _loss(row)

    def _battery(self) -> Iterator[str]:
        y, middle = _TOP - 45, (_LEFT + _RIGHT) / 2
        yield _line((_LEFT, _TOP), (_LEFT, y)) + _line((_LEFT, y), (middle - 8, y))
        yield _line((middle + 8, y), (_RIGHT, y)) + _line((_RIGHT, y), (_RIGHT, _TOP))
        yield _line((middle - 8, y - 18), (middle - 8, y + 18), 2) + _line((middle + 8, y - 9), (middle + 8, y + 9), 5)
        yield _text(middle, y + 36, f"battery, {self.circuit.system_v:g} V", anchor="middle", bold=True)
        yield _text(middle - 26, y - 8, "+", anchor="middle", size=16) + _text(
            middle + 26, y - 8, "−", anchor="middle", size=16
        )

    def _motor(self) -> Iterator[str]:
        y, middle = self.bottom + 30, (_LEFT + _RIGHT) / 2
        yield _line((_LEFT, self.bottom), (_LEFT, y)) + _line((_LEFT, y), (middle - 22, y))
        yield _line((middle + 22, y), (_RIGHT, y)) + _line((_RIGHT, y), (_RIGHT, self.bottom))
        yield f'<circle cx="{middle}" cy="{y}" r="22" fill="#fff" stroke="#000" stroke-width="2"/>'
        yield _text(middle, y + 6, "M", anchor="middle", size=17, bold=True)
        motor = next((row.drop for row in self.down if row.part == "starter" and row.drop), None)
        gets = f", gets {motor.lost} V" if motor and motor.lost not in ("?", "open") else ""
        yield _text(middle, y - 30, f"starter{gets}", anchor="middle", bold=True)

    def _side(self, rows: Sequence[Row], *, outward: int) -> Iterator[str]:
        """Points with their labels outward, parts with theirs inward."""
        column = _LEFT if outward < 0 else _RIGHT
        for row in rows:
            first, second = self._ends(row.part)
            yield from self._part(row, first, second)
            y = (first[1] + second[1]) / 2
            inward, anchor = column - outward * 24, "start" if outward < 0 else "end"
            heavy = row.drop is not None and row.drop.verdict in _BAD
            yield _text(inward, y - 2, self._label(f"part:{row.part}"), anchor=anchor, size=11, bold=heavy)
            yield _text(inward, y + 12, self._facts(row), anchor=anchor, size=11, bold=heavy)
        for name, (x, y) in self.at.items():
            if x == column:
                yield f'<circle cx="{x}" cy="{y:.1f}" r="3.5" fill="#000"/>'
                anchor = "end" if outward < 0 else "start"
                yield _text(x + outward * 12, y - 4, self._label(name), anchor=anchor, size=11, longest=30)

    def _ends(self, part: str) -> tuple[tuple[float, float], tuple[float, float]]:
        one, other = (self.at[point] for point in self.circuit.parts[part].part.between)
        return (one, other) if one[1] <= other[1] else (other, one)

    def _part(self, row: Row, top: tuple[float, float], end: tuple[float, float]) -> Iterator[str]:
        heavy = row.drop is not None and row.drop.verdict in _BAD
        yield from _symbol(self.circuit.parts[row.part].part.kind, top[0], top[1], end[1], 4.0 if heavy else 2.0)

    def _beside(self) -> Iterator[str]:
        """Paths in parallel to the main one: brackets on the side that both of their ends are on."""
        for number, chain in enumerate(_chains(row for row in self.rows if row.section is Section.BESIDE)):
            ends = [self.at.get(chain[0].point), self.at.get(chain[-1].point)]
            parts = [row for row in chain if row.part]
            lines = [line for row in parts for line in (self._label(f"part:{row.part}"), self._facts(row))]
            first, last = ends
            if first is None or last is None or first[0] != last[0]:
                yield _text(
                    _WIDTH / 2,
                    self.bottom + 88 - 13 * number,
                    f"beside it: {', '.join(lines)}",
                    anchor="middle",
                    size=11,
                    longest=150,
                )
                continue
            right = first[0] == _RIGHT
            x = _OUTER_RIGHT - number * _BESIDE_STEP if right else _OUTER_LEFT + (number + 1) * _BESIDE_STEP
            yield _line(first, (x, first[1]), 1, "4 3") + _line((x, first[1]), (x, last[1]), 1, "4 3")
            yield _line((x, last[1]), last, 1, "4 3")
            start = x - 5 - 13 * (len(lines) - 1) if right else x + 13
            yield from _upright(start, (first[1] + last[1]) / 2, lines, abs(first[1] - last[1]))

    def _control(self) -> Iterator[str]:
        """The control side, from the battery's positive post round to the solenoid's coil."""
        rows = [row for row in self.rows if row.section is Section.CONTROL and row.part]
        if not rows:
            return
        y, x = self.bottom + 68, _OUTER_LEFT
        top = self.at.get(rows[0].point, (_LEFT, _TOP))
        coil = (_LEFT + 60, y)
        yield _line(top, (x, top[1]), 1, "2 3") + _line((x, top[1]), (x, y), 1, "2 3") + _line((x, y), coil, 1, "2 3")
        yield f'<rect x="{coil[0]}" y="{y - 9}" width="54" height="18" fill="#fff" stroke="#000"/>'
        yield _text(coil[0] + 27, y + 4, "coil", anchor="middle", size=11)
        yield _line((coil[0] + 54, y), (_RIGHT, y), 1, "2 3") + _line((_RIGHT, y), (_RIGHT, self.bottom), 1, "2 3")
        lines = [f"{self._label(f'part:{row.part}')}, {self._facts(row)}" for row in rows]
        yield from _upright(x + 13, (top[1] + y) / 2, lines, y - top[1])


def _chains(rows: Iterable[Row]) -> Iterator[list[Row]]:
    """Rows up to and with the one that ends each stretch."""
    chain: list[Row] = []
    for row in rows:
        chain.append(row)
        if not row.part:
            yield chain
            chain = []


def _loss(row: Row) -> str:
    drop = row.drop
    if drop is None or drop.lost == "?":
        return "not measured alone"
    lost = "open" if drop.lost == "open" else f"{drop.lost} V"
    facts = [f"sound {drop.sound}"] if drop.sound else []
    facts += [f"limit {drop.limit}"] if drop.limit else []
    return ", ".join([f"{drop.mark_and_word.strip()} {lost}".strip(), *facts])


def _symbol(kind: Kind, x: float, top: float, end: float, weight: float) -> Iterator[str]:
    """A part between two points of one column; the symbol is in the middle, plain line above and below."""
    middle = (top + end) / 2
    half = min(12.0, (end - top) / 3)
    a, b = middle - half, middle + half
    pen = f'fill="#fff" stroke="#000" stroke-width="{weight}"'
    box = f'<rect x="{x - 7}" y="{a:.1f}" width="14" height="{b - a:.1f}" {pen}'
    if kind is Kind.CABLE:
        yield _line((x, top), (x, end), weight + 2)
        return
    yield _line((x, top), (x, a), weight) + _line((x, b), (x, end), weight)
    match kind:
        case Kind.JOINT:
            yield f'<circle cx="{x}" cy="{middle:.1f}" r="{half * 0.6:.1f}" {pen}/>'
            yield _line((x, a), (x, middle - half * 0.6), weight) + _line((x, middle + half * 0.6), (x, b), weight)
        case Kind.CONTACTS:
            yield _line((x, b), (x + 12, a + 3), weight) + _line((x - 6, a), (x + 6, a), weight)
        case Kind.FUSE:
            yield box + "/>" + _line((x, a), (x, b), 1)
        case Kind.STRAP:
            steps = [(x + (5 if n % 2 else -5), a + (b - a) * n / 6) for n in range(1, 6)]
            yield "".join(_line(p, q, weight) for p, q in pairwise([(x, a), *steps, (x, b)]))
        case Kind.METAL:
            yield box + "/>"
            yield "".join(_line((x - 7, y + 4), (x + 7, y - 4), 1) for y in (a + 5, middle, b - 5))


# --- the plot --------------------------------------------------------------------------------------------------------


def profile_svg(drawn: Drawn) -> str:
    """Volts lost along the run while cranking: the band of a sound circuit, what was read, and what was before."""
    rows, earlier = drawn.profile, drawn.before
    left, top, right, bottom = _PLOT
    measured = [row.measured_v for row in (*rows, *earlier) if row.measured_v is not None]
    most = max([0.1, *measured, *(row.expected_v[2] for row in rows)]) * 1.08
    step = next(size for size in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0) if most / size <= 8)
    xs = _positions(rows, left, right)

    def y(volts: float) -> float:
        return bottom - max(volts, 0.0) / most * (bottom - top)

    body = [f'<rect x="{left}" y="{top}" width="{right - left}" height="{bottom - top}" fill="none" stroke="#000"/>']
    for number in range(int(most / step) + 1):
        volts = number * step
        body.append(_line((left, y(volts)), (right, y(volts)), 0.4, "1 4"))
        body.append(_text(left - 6, y(volts) + 4, f"{volts:.2g}", anchor="end", size=11))
    body.append(_text(16, (top + bottom) / 2, "volts lost", anchor="middle", size=12, turned=True))
    for side in ("positive", "ground"):
        own = [n for n, row in enumerate(rows) if row.side == side]
        if not own:
            continue
        band = [(xs[n], y(rows[n].expected_v[2])) for n in own] + [
            (xs[n], y(rows[n].expected_v[0])) for n in reversed(own)
        ]
        body.append(f'<polygon points="{_points(band)}" fill="#ddd" stroke="#888" stroke-width="0.7"/>')
        body += _track([(xs[n], y(v)) for n in own if (v := _measured(earlier, n)) is not None], hollow=True)
        body += _track([(xs[n], y(v)) for n in own if (v := rows[n].measured_v) is not None], hollow=False)
        middle = (xs[own[0]] + xs[own[-1]]) / 2
        body.append(_text(middle, top - 10, f"{side} side", anchor="middle", size=13, bold=True))
    for n, row in enumerate(rows):
        body.append(_line((xs[n], bottom), (xs[n], bottom + 5), 1))
        label = _shortened(drawn.labels.get(row.point, row.point), 34)
        body.append(_turned_label(xs[n] + 3, bottom + 16, label))
    body += _key(bool(earlier), bottom + 185)
    return _svg(_WIDTH, bottom + 200, "Volts lost along the run", body)


def _positions(rows: Sequence[ProfileRow], left: float, right: float) -> list[float]:
    """Where each point lies across the plot: by length of cable, with some width for what has no length."""
    lengths = [b.position_m - a.position_m for a, b in pairwise(rows)]
    least = _JOINT_SHARE * max([*lengths, 0.1])
    widths = [0.0]
    for length, (a, b) in zip(lengths, pairwise(rows), strict=True):
        widths.append(widths[-1] + (3 * least if a.side != b.side else max(length, least)))
    whole = widths[-1] or 1.0
    return [left + 14 + (right - left - 28) * width / whole for width in widths]


def _measured(rows: Sequence[ProfileRow], number: int) -> float | None:
    return rows[number].measured_v if number < len(rows) else None


def _track(points: Sequence[tuple[float, float]], *, hollow: bool) -> list[str]:
    """What readings tell: full marks and line now, hollow ones and dashes before the repair."""
    if len(points) < 2:
        return []
    dashes = ' stroke-dasharray="6 4"' if hollow else ""
    width, fill = (1.4, "#fff") if hollow else (2.4, "#000")
    line = f'<polyline points="{_points(points)}" fill="none" stroke="#000" stroke-width="{width}"{dashes}/>'
    marks = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{fill}" stroke="#000" stroke-width="1.4"/>' for x, y in points
    )
    return [line, *marks]


def _key(earlier: bool, y: float) -> list[str]:
    parts = ['<rect x="80" y="%g" width="30" height="12" fill="#ddd" stroke="#888"/>' % (y - 10)]
    parts.append(_text(118, y, "a sound circuit, nine of ten", size=12))
    parts += _track([(340, y - 4), (370, y - 4)], hollow=False)
    parts.append(_text(382, y, "read now", size=12))
    if earlier:
        parts += _track([(480, y - 4), (510, y - 4)], hollow=True)
        parts.append(_text(522, y, "read before the last repair", size=12))
    return parts


# --- pieces of SVG ---------------------------------------------------------------------------------------------------


def _svg(width: float, height: float, title: str, body: Iterable[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="img" font-family="{_FONT}"><title>{escape(title)}</title>{"".join(body)}</svg>'
    )


def _points(points: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _line(start: tuple[float, float], end: tuple[float, float], width: float = 2.0, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" stroke="#000" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    size: int = 12,
    bold: bool = False,
    longest: int = _LONGEST,
    turned: bool = False,
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    turn = f' transform="rotate(-90 {x:.1f} {y:.1f})"' if turned else ""
    shown = escape(_shortened(words, longest))
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}"{weight}{turn}>{shown}</text>'


def _upright(x: float, y: float, lines: Sequence[str], room: float) -> Iterator[str]:
    """Lines of text along an upright line, each as long as there is room for it."""
    for number, words in enumerate(lines):
        longest = max(8, int(room / 5.8))
        yield _text(x + 13 * number, y, words, anchor="middle", size=11, longest=longest, turned=True)


def _turned_label(x: float, y: float, words: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="11" text-anchor="end" transform="rotate(-55 {x:.1f} {y:.1f})">'
        f"{escape(words)}</text>"
    )


def _shortened(words: str, longest: int) -> str:
    return words if len(words) <= longest else words[: longest - 1].rstrip() + "…"
