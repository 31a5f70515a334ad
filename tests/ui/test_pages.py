"""What the pages over a job say, as text."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.vehicles import desk
from wizard.circuit.map import PartChange
from wizard.files import shelf
from wizard.quantities import Size
from wizard.repair.advice import advise
from wizard.ui.finding_page import finding_text
from wizard.ui.odds_page import odds_text
from wizard.ui.readings_page import reading_line
from wizard.ui.repair_page import repair_text
from wizard.walk.assessment import Assessment, JudgedReading, RepairOdds, Suspect

REMOTE = desk("remote-battery")
# 0.046 and 0.054 are printed alike.
ODDS = (0.046, 0.054, 0.2, 0.004)


@pytest.fixture
def answer() -> Assessment:
    kept = Assessment.model_validate_json((Path(__file__).parent / "looks" / "answer.json").read_text())
    parts = ("long-cable", "rear-cable", "isolator", "body")
    suspects = [
        Suspect(part=part, fault="high-resistance", probability=odds, repair=f"replace-{part}")
        for part, odds in zip(parts, ODDS, strict=True)
    ]
    repairs = [RepairOdds(repair="no-repair", probability=0.2, parts=[])]
    repairs += [RepairOdds(repair=s.repair, probability=s.probability, parts=[s.part]) for s in suspects]
    return kept.model_copy(update={"suspects": suspects, "repairs": repairs})


def test_the_same_odds_have_the_same_word_on_every_page(answer: Assessment) -> None:
    for told in (finding_text(REMOTE, answer).plain, odds_text(answer, []).plain):
        said = re.findall(r"^(\d\.\d\d) [#.]+ (.{11}) ", told, re.MULTILINE)
        words = {figure: {word for number, word in said if number == figure} for figure, _ in said}
        assert set(words) == {"0.05", "0.20"}
        assert all(len(of_one) == 1 for of_one in words.values()), words


def test_each_list_says_of_what_its_odds_are(answer: Assessment) -> None:
    finding, suspects = finding_text(REMOTE, answer).plain, odds_text(answer, []).plain
    assert "What to repair first, with odds that add up to 1" in finding
    assert "nothing: no part is at fault" in finding
    assert "with the odds that each is at fault" in suspects


def test_a_reading_that_was_taken_back_says_so_once_and_each_says_when_it_was_read() -> None:
    posts = {"red": "battery-positive-post", "black": "battery-negative-post", "volts": 12.7}
    struck = JudgedReading(id=1, state="resting", struck=True, note="taken back", **posts)
    assert reading_line(struck).plain.count("taken back") == 1
    assert "at rest" in reading_line(struck).plain
    slipped = struck.model_copy(update={"note": "the lead slipped", "state": "cranking"})
    assert "the lead slipped" in reading_line(slipped).plain
    assert "start held" in reading_line(slipped).plain


def test_how_it_is_done_begins_with_the_work_until_a_size_was_chosen(answer: Assessment) -> None:
    advice = advise(REMOTE.circuit, shelf.repairs(), "replace-long-cable")
    headings = ("What to do, in this order", "Look at, once it is open", "What the spans will read", "Size:")
    told = repair_text(REMOTE, answer, advice, {}, []).plain
    # Nothing was predicted: an empty section has no heading.
    assert headings[2] not in told
    waiting = repair_text(REMOTE, answer, advice, {}, None).plain
    assert [waiting.index(heading) for heading in headings] == sorted(waiting.index(heading) for heading in headings)
    assert "material about 70 (your currency; the map's figure)" in waiting
    chosen = repair_text(REMOTE, answer, advice, {"long-cable": PartChange(size=Size.parse("70 mm2"))}, None).plain
    assert chosen.index(headings[2]) < chosen.index(headings[0])
