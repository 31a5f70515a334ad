"""How every screen looks: text and colours at two sizes against kept copies, readable, and the same without any colour.

The answer that the job screen shows is kept too, so a better diagnosis changes no look. After a change that is meant,
`DROPWALK_LOOKS=write pytest tests/ui/test_looks.py` keeps the new ones.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from driven import Bay, Open
from rich.color import Color, ColorType
from rich.segment import Segment

from wizard.circuit.heard import Heard
from wizard.files import shelf
from wizard.files.settings import Light, Settings
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.ui.app import DropwalkApp
from wizard.ui.visit import Visit
from wizard.walk import shifts, walker
from wizard.walk.assessment import Assessment
from wizard.walk.events import CautionsRead, Complaint, ReadingTaken, Started
from wizard.walk.shifts import Move, Shift
from wizard.walk.state import Reading
from wizard.walk.walker import StepView

COLOURS = Path(__file__).parent / "looks" / "colours.json"
LOOKS = Path(__file__).parent / "looks"
ANSWER = LOOKS / "answer.json"
POST = "battery-positive-post"
NOON = datetime(2030, 5, 1, 12, tzinfo=UTC)
READINGS = [
    ReadingTaken(state="resting", red=POST, black="battery-negative-post", value=12.6),
    ReadingTaken(state="cranking", red=POST, black="battery-negative-post", value=11.1, crank=1),
    ReadingTaken(state="cranking", red=POST, black="starter-b-stud", value=0.98, crank=2),
    ReadingTaken(state="cranking", red=POST, black="bulkhead-stud", value=0.86, minimum=0.82, maximum=0.9, crank=3),
    ReadingTaken(state="cranking", clamp="rear-cable", value=164.0, crank=4, note="cable felt warm"),
]
# What leads to each screen from the one before it, Esc in between.
PAGES: list[tuple[str, list[str]]] = [
    ("job", []),
    ("why", ["w"]),
    ("learn", ["l"]),
    ("readings", ["r"]),
    ("finding", ["f"]),
    ("volts", ["v"]),
    ("how-sure", ["h"]),
    ("part", ["down", "down", "p"]),
    ("jump", ["j"]),
    ("cautions", ["c"]),
    ("crank", ["t"]),
    ("note", ["n"]),
    ("own-reading", ["m"]),
    ("words", ["g"]),
    ("settings", ["s"]),
    ("help", ["question_mark"]),
    ("complaint", ["e"]),
]


@pytest.fixture
def _kept_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same answer, history of odds, map of the walk and time, whatever becomes of the reasoning."""
    kept = Assessment.model_validate_json(ANSWER.read_text())
    steps = [
        StepView("make-safe", "Make it safe", "done"),
        StepView("battery-resting", "Battery at rest", "jumped-over"),
        StepView("split-positive", "Split the positive side", "here"),
        StepView("ground-drop", "Ground-side drop under load", "ahead"),
    ]
    history = [
        Shift(
            Reading(3, READINGS[2], 0),
            (Move("positive-clamp", "high-resistance", 0.04, 0.22), Move("starter", "worn", 0.4, 0.02)),
        ),
        Shift(Reading(4, READINGS[3], 0), ()),
    ]

    def answer(*_: object) -> Assessment:
        return kept

    def of_the_walk(*_: object) -> list[StepView]:
        return steps

    def moved(*_: object) -> list[Shift]:
        return history

    monkeypatch.setattr(Session, "assess", answer)
    monkeypatch.setattr(walker, "walk_steps", of_the_walk)
    monkeypatch.setattr(shifts, "odds_shifts", moved)
    monkeypatch.setattr(DropwalkApp, "now", lambda _: NOON)


def job(store: Store) -> None:
    complaint = Complaint(circuit="remote-battery", air=15.0, symptom=Heard.CRANKS_SLOWLY)
    started = Started(title="Milk float, first visit", complaint=complaint)
    number = store.create(started, NOON)
    store.append(number, NOON, CautionsRead(cautions=list(shelf.cautions().cautions)), *READINGS)


def keep_answer(store: Store) -> None:
    """Work out the answer that the looks are taken of."""
    ANSWER.write_text(Session.open(store, 1, lambda: NOON).assess("walk").model_dump_json(indent=1) + "\n")


def segments(driven: Bay) -> Iterator[Segment]:
    """What is drawn with a colour of its own: all of a screen, or a visit's sheet alone."""
    strips = driven.app.screen._compositor.render_strips()
    region = driven.app.screen.query_one("#sheet").region if isinstance(driven.app.screen, Visit) else None
    for y, strip in enumerate(strips):
        if region is None:
            yield from strip
        elif region.y <= y < region.bottom:
            yield from strip.crop(region.x, region.right)


def luminance(red: int, green: int, blue: int) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [c / 255 for c in (red, green, blue)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(segment: Segment) -> float:
    """Contrast ratio of its text, WCAG 2.2."""
    style = segment.style
    assert style is not None
    assert style.color is not None
    assert style.bgcolor is not None
    one, other = sorted(luminance(*colour.get_truecolor()) for colour in (style.color, style.bgcolor))
    return (other + 0.05) / (one + 0.05)


def readable(segment: Segment) -> bool:
    """Text as WCAG 2.2 asks for at level AA: 4.5 to 1."""
    return not segment.text.strip(" \n▁▂▃▄▅▆▇█▔▕▎") or contrast(segment) >= 4.5


def grey(segment: Segment) -> bool:
    """No hue at all."""
    colours = [c for c in (segment.style.color, segment.style.bgcolor) if c] if segment.style else []
    return all(c.type is ColorType.DEFAULT or len({*c.get_truecolor()}) == 1 for c in colours)


def colours_of(driven: Bay) -> list[str]:
    """What is shown in which colours: the first words in each."""
    first: dict[str, str] = {}
    for segment in segments(driven):
        if segment.style is not None and (text := segment.text.strip(" ▁▂▃▄▅▆▇█▔▕▎")):
            strong = "bold " if segment.style.bold else ""
            first.setdefault(f"{strong}{_named(segment.style.color)} on {_named(segment.style.bgcolor)}", text[:24])
    return sorted(f"{style}: {text}" for style, text in first.items())


def _named(colour: Color | None) -> str:
    return colour.get_truecolor().hex if colour is not None else "default"


def text_of(driven: Bay) -> str:
    """What is shown; only the settings say which colours there are, and that is not what is held here."""
    shown = driven.shown().replace("light, for sunlight", "dark, for a dim bay")
    return "\n".join(line.rstrip() for line in shown.splitlines()) + "\n"


WAYS: list[tuple[str, Light, Callable[[Segment], bool]]] = [
    ("dark", Light.DARK, readable),
    ("light", Light.LIGHT, readable),
    ("no-colour", Light.DARK, grey),
]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize(("way", "light", "sound"), WAYS, ids=[way for way, *_ in WAYS])
@pytest.mark.usefixtures("_kept_answer")
async def test_every_screen(
    bay: Open,
    store: Store,
    monkeypatch: pytest.MonkeyPatch,
    size: tuple[int, int],
    way: str,
    light: Light,
    sound: Callable[[Segment], bool],
) -> None:
    if way == "no-colour":
        monkeypatch.setenv("NO_COLOR", "1")
    wrong: list[str] = []
    colours: dict[str, list[str]] = {}
    async with bay(size=size, settings=Settings(tour_seen=True, light=light)) as driven:

        def look(name: str) -> None:
            kept = LOOKS / f"{name}-{size[0]}x{size[1]}.txt"
            if os.environ.get("DROPWALK_LOOKS") == "write":
                kept.write_text(text_of(driven))
            if text_of(driven) != kept.read_text():
                wrong.append(f"{name} has another look:\n{text_of(driven)}")
            colours[f"{way} {name} {size[0]}x{size[1]}"] = colours_of(driven)
            wrong.extend(f"{name}: {s.text.strip()!r} {s.style}" for s in segments(driven) if not sound(s))

        look("home-empty")
        await driven.press("a")
        look("about")
        await driven.press("escape", "d")
        look("demos")
        await driven.press("escape", "n")
        look("intake")
        await driven.press("escape")
        driven.app.show_tour()
        await driven.settle()
        look("tour")
        job(store)
        await driven.press("escape")
        look("home")
        await driven.press("enter")
        for name, keys in PAGES:
            await driven.press(*keys)
            look(name)
            if keys:
                await driven.press("escape")
    assert not wrong, "\n".join(wrong)
    if way != "no-colour":
        kept = json.loads(COLOURS.read_text()) if COLOURS.exists() else {}
        if os.environ.get("DROPWALK_LOOKS") == "write":
            COLOURS.write_text(json.dumps({**kept, **colours}, indent=0, sort_keys=True, ensure_ascii=False) + "\n")
        else:
            assert colours == {name: kept.get(name) for name in colours}


async def test_the_kept_answer_is_of_today(bay: Open, store: Store) -> None:
    """Written anew on demand; it must stay readable and be of the readings that the looks show."""
    job(store)
    if os.environ.get("DROPWALK_LOOKS") == "write":
        keep_answer(store)
    kept = Assessment.model_validate_json(ANSWER.read_text())
    assert [reading.id for reading in kept.readings] == [1, 2, 3, 4, 5]
    async with bay() as driven:
        await driven.press("enter")
        assert driven.job.assessment is not None
        assert [r.volts for r in driven.job.assessment.readings] == [r.volts for r in kept.readings]
