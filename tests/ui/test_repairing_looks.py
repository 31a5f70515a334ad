"""How the pages from the finding to the paper look, at two sizes, with readable colours and without any.

What the reasoning would say is given, so a better diagnosis changes no look. After a change that is meant,
`DROPWALK_LOOKS=write pytest tests/ui/test_repairing_looks.py` keeps the new ones.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from driven import Bay, Open
from rich.segment import Segment
from test_looks import ANSWER, LOOKS, WAYS, segments

from wizard.circuit.heard import Heard
from wizard.circuit.network import Observable
from wizard.files import shelf
from wizard.files.settings import Light, Settings
from wizard.record import proof_lines
from wizard.record.report_lines import RepairLine, SpanLine
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.repair.predict import Foreseen
from wizard.ui import report_page
from wizard.ui.app import DropwalkApp
from wizard.ui.visit import Visit
from wizard.walk import proof, standing
from wizard.walk.assessment import Assessment, Next
from wizard.walk.case import Case
from wizard.walk.events import (
    CautionsRead,
    Complaint,
    CostStruck,
    LabourPriced,
    MinutesLogged,
    PartPriced,
    Repaired,
    Started,
    StartSeen,
)
from wizard.walk.proof import Foretold

NOON = datetime(2030, 5, 1, 12, tzinfo=UTC)
BEFORE = [StartSeen(good=False, engine="cold", times=3), StartSeen(good=True, engine="cold", times=7)]
SINCE = [
    StartSeen(good=True, engine="cold", times=3, day=date(2030, 4, 30)),
    StartSeen(good=True, engine="hot", times=2, day=date(2030, 5, 1)),
]
COSTS = [
    LabourPriced(per_hour=60),
    MinutesLogged(minutes=25, work="tests"),
    MinutesLogged(minutes=20, step="positive-drop", work="cleaned the lug and its stud to bright metal"),
    PartPriced(what="ring, M8", price=4.5, count=2),
    PartPriced(what="wrong ring", price=3),
    CostStruck(entry=4),
]


def _told(what: Observable, low: float, middle: float, high: float) -> Foretold:
    return Foretold(what, Foreseen(what, low, middle, high))


FORESEEN = (
    _told(Observable("cranking", "isolator-load-lug", "bulkhead-feed-lug"), 0.26, 0.29, 0.33),
    _told(Observable("cranking", "battery-positive-post", "starter-b-stud"), 0.41, 0.46, 0.52),
)
SPAN = SpanLine(
    span="isolator load lug to bulkhead feed lug, cranking",
    before="1.20 V",
    predicted="0.26 to 0.33 V",
    after="0.29 V",
    sound="0.25 to 0.34 V",
    limit="0.46 V",
    judged="within the limit",
    against="as predicted",
    first="",
    won_back="0.91 V won back",
    margin="0.17 V to spare; the limit is 1.6 times what it loses",
    before_v=1.2,
    predicted_band=(0.26, 0.33),
    after_v=0.29,
    readings=[9],
)
UNREAD = SPAN.model_copy(
    update={
        "span": "starter case to battery negative post, cranking",
        "after": "not read",
        "margin": "",
        "won_back": "",
        "readings": [],
    }
)
PROOF = RepairLine(
    number=1,
    repair="replace-long-cable",
    label="replace the long cable with its ends",
    finding="",
    evidence=[],
    fitted=["Long cable: 4.2 m 70 mm2 copper fitted, 50 mm2 copper before."],
    helped=None,
    result="The proof is not complete: not every span of it was measured again.",
    spans=[SPAN, UNREAD],
    remains=["0.62 V is still lost from the post to the stud, more than sound parts lose: look for a second fault."],
    unsettled=["Not read since the repair, or only in doubt: starter case to battery negative post, cranking."],
)
# What leads to each page from the job, Esc as often as it says in between.
BEFORE_REPAIR = [("repair", ["z"], 1), ("repair-size", ["z", "i"], 2), ("costs-empty", ["y"], 1)]
AFTER_REPAIR = [
    ("proof", ["z"], 1),
    ("starts", ["i"], 1),
    ("starts-count", ["i", "c"], 2),
    ("costs", ["y"], 1),
    ("report", ["q"], 1),
    ("report-file", ["q", "enter"], 1),
]


def answer(*, repaired: bool) -> Assessment:
    """A job with a finding, or one after its repair."""
    kept = Assessment.model_validate_json(ANSWER.read_text())
    repair = "replace-long-cable"
    step = Next(kind="repair", step="repair", repair=repair, why="The readings call for it.", minutes=90)
    if repaired:
        step = Next(kind="finish", step="no-fault-found", why="The repair helped.")
    return kept.model_copy(update={"next": step, "finding": None})


def job(store: Store, *, repaired: bool) -> None:
    complaint = Complaint(circuit="remote-battery", air=15.0, symptom=Heard.CRANKS_SLOWLY, intermittent=True)
    number = store.create(Started(title="Milk float, first visit", complaint=complaint), NOON)
    store.append(number, NOON, CautionsRead(cautions=list(shelf.cautions().cautions)))
    if repaired:
        store.append(
            number, NOON, *BEFORE, Repaired(repair="replace-long-cable", day=date(2030, 4, 28)), *SINCE, *COSTS
        )


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same prediction, proof, folder and time, whatever becomes of the reasoning."""

    def foresee(*_: object) -> tuple[Foretold, ...]:
        return FORESEEN

    def proofs(*_: object) -> list[RepairLine]:
        return [PROOF]

    monkeypatch.setattr(Session, "assess", lambda self, _: answer(repaired=bool(self.state.repairs)))
    monkeypatch.setattr(Case, "of", lambda *_: None)
    monkeypatch.setattr(standing, "standing", lambda _: None)
    monkeypatch.setattr(proof, "foresee_proof", foresee)
    monkeypatch.setattr(proof_lines, "repair_lines", proofs)
    monkeypatch.setattr(report_page, "_folder", lambda: Path("/home/you/Documents"))
    monkeypatch.setattr(DropwalkApp, "now", lambda _: NOON)


def text_of(driven: Bay) -> str:
    """What is shown; of a visit its sheet alone, for what lies under it is held elsewhere."""
    lines = driven.shown().splitlines()
    if isinstance(driven.app.screen, Visit):
        sheet = driven.app.screen.query_one("#sheet").region
        lines = [line[sheet.x : sheet.right] for line in lines[sheet.y : sheet.bottom]]
    return "\n".join(line.rstrip() for line in lines) + "\n"


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize(("way", "light", "sound"), WAYS, ids=[way for way, *_ in WAYS])
@pytest.mark.parametrize("repaired", [False, True], ids=["before", "after"])
@pytest.mark.usefixtures("given")
async def test_every_page(
    bay: Open,
    store: Store,
    monkeypatch: pytest.MonkeyPatch,
    size: tuple[int, int],
    way: str,
    light: Light,
    sound: Callable[[Segment], bool],
    repaired: bool,
) -> None:
    if way == "no-colour":
        monkeypatch.setenv("NO_COLOR", "1")
    job(store, repaired=repaired)
    wrong: list[str] = []
    async with bay(size=size, settings=Settings(tour_seen=True, light=light)) as driven:

        def look(name: str) -> None:
            kept = LOOKS / f"{name}-{size[0]}x{size[1]}.txt"
            if os.environ.get("DROPWALK_LOOKS") == "write":
                kept.write_text(text_of(driven))
            if text_of(driven) != kept.read_text():
                wrong.append(f"{name} has another look:\n{text_of(driven)}")
            wrong.extend(f"{name}: {s.text.strip()!r} {s.style}" for s in segments(driven) if not sound(s))

        if repaired:
            look("home-waiting")
        await driven.press("enter")
        for name, keys, back in AFTER_REPAIR if repaired else BEFORE_REPAIR:
            await driven.press(*keys)
            look(name)
            await driven.press(*["escape"] * back)
    assert not wrong, "\n".join(wrong)
