"""A job on paper: what it says, that no text in it is ever markup, and how it looks to a browser and a PDF reader."""

import json
import re
import shutil
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from html import unescape
from html.parser import HTMLParser
from http.server import BaseHTTPRequestHandler, HTTPServer
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.vehicles import desk, read
from wizard.circuit.load import Condition
from wizard.circuit.map import Changes, PartChange
from wizard.diagnosis.belief import Belief
from wizard.errors import DropwalkError
from wizard.files import shelf
from wizard.quantities import Size
from wizard.record.report import compile_report
from wizard.record.report_files import render, write
from wizard.record.report_lines import Report
from wizard.record.report_svg import circuit_svg, profile_svg
from wizard.walk.assessment import Next
from wizard.walk.case import Case
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Complaint,
    CostStruck,
    Cranked,
    LabourPriced,
    MinutesLogged,
    Noted,
    OutOfReach,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    Repaired,
    Started,
    StartSeen,
    TakenBack,
)
from wizard.walk.state import fold

FIX = "clean-isolator-load-joint"
POSTS = ("battery-positive-post", "battery-negative-post")
POSITIVE = ("battery-positive-post", "starter-b-stud")
GROUND = ("starter-case", "battery-negative-post")
JOINT = ("isolator-out-stud", "isolator-load-lug")
# Every span of the proof of the joint's repair but the control side.
PROOF = (JOINT, POSTS, POSITIVE, GROUND, ("starter-b-stud", "motor-stud"))
WRITTEN = datetime(2026, 3, 3, 16, 5, tzinfo=UTC)


def readings(excess, *spans, state="cranking"):
    at = desk("remote-battery").circuit
    condition = Condition(excess, demand_a=at.demand_a[1])
    return [
        read(at, condition, Next(kind="measure", why="", state=state, red=red, black=black)) for red, black in spans
    ]


def started(title="parcel van", *, intermittent=True):
    complaint = Complaint(circuit="remote-battery", symptom="one-click", intermittent=intermittent)
    return Started(title=title, complaint=complaint)


SICK = {"isolator-load-joint": 4e-3}
SLIPPED = ReadingTaken(state="cranking", red=POSITIVE[0], black="bulkhead-stud", value=0.02)
FAILS = [StartSeen(good=False, engine="cold", times=3), StartSeen(good=True, engine="cold", times=7)]
LOG = [
    started(),
    CautionsRead(cautions=["keep-clear"]),
    *FAILS,
    *readings({}, POSTS, state="resting"),
    *readings(SICK, POSTS, POSITIVE),
    SLIPPED,
    ReadingStruck(reading=4, why="the lead slipped"),
    *readings(SICK, GROUND, JOINT),
    Answered(step="heard-now", choice="one-click"),
    Answered(step="open-and-look", choice="damage"),
    Repaired(repair=FIX),
    MinutesLogged(minutes=45, work="found and cleaned it"),
    MinutesLogged(minutes=500, work="typed wrong"),
    CostStruck(entry=2),
    PartPriced(what="lug", price=3.2, count=2),
    LabourPriced(per_hour=60),
    *readings({}, *PROOF),
    Answered(step="heard-now", choice="cranks-normally"),
    Answered(step="cranks-now", choice="cranks-well"),
    *(StartSeen(good=True, engine="cold", times=3, day=day) for day in ("2026-03-02", "2026-03-03")),
    OutOfReach(point="s-terminal"),
    Noted(text="The boot was missing."),
]


def compiled(*log, timed=()):
    at = desk("remote-battery")
    report, drawn = compile_report(Case.of(at, fold(log)), written=WRITTEN, job=7, log=timed)
    return report, drawn, at.circuit


@pytest.fixture(scope="module")
def whole():
    return compiled(*LOG, timed=[(WRITTEN - timedelta(days=1) + timedelta(minutes=n), e) for n, e in enumerate(LOG)])


def flat(report, drawn, circuit, ending):
    """A text form with its white space made plain and its escapes read."""
    return " ".join(unescape(render(report, drawn, circuit, ending).decode()).split())


# --- what it says ----------------------------------------------------------------------------------------------------


def test_the_customers_page_says_what_was_wrong_done_won_and_left(whole):
    page = whole[0].customer
    assert page.told == ["When you start it: one click, then nothing.", "It comes and goes."]
    assert page.found[0].endswith("load lug on the isolator.")
    assert page.done == ["Clean and tighten the load lug on the isolator."]
    # 4 mohm and the sound joint's own 0.06 mohm at the map's 170 A.
    assert page.brought == [
        "Before the repair 0.68 V were lost there, after it 0.01 V. The readings after it show that it helped.",
        "Nothing else that wants a repair was shown.",
        "Does it crank now? It cranks as it should.",
    ]
    assert page.gone == ["Good starts in a row so far, of those needed to be 95 % sure that it is gone: cold: 6 of 9."]
    assert "Not measured: the control side, from the start switch to the solenoid." in page.not_tested
    assert "Not measured since the last repair: the battery at rest." in page.not_tested
    assert "Out of reach: S terminal." in page.not_tested
    assert "No start with a hot engine was counted since the repair." in page.not_tested
    assert not any("positive side" in line or "ground side" in line for line in page.not_tested)


ENOUGH_STARTS = StartSeen(good=True, engine="cold", times=9)
ENOUGH = [*LOG, ENOUGH_STARTS]
CABLE = {"engine-bay-cable": 5e-3}


@pytest.mark.parametrize(
    ("log", "gone"),
    [
        (ENOUGH, "Enough good starts in a row to be 95 % sure that it is gone: cold: 15 of 9."),
        (
            # By Ohm's law 5 mohm lose 0.85 V at the map's 170 A, beside the 0.48 V of the sound parts.
            [
                *(started(), *FAILS, *readings(SICK | CABLE, POSTS, POSITIVE, GROUND, JOINT), Repaired(repair=FIX)),
                *(*readings(CABLE, *PROOF), ENOUGH_STARTS),
            ],
            "Still past its limit: battery positive post to starter B stud, cranking, 1.31 V, limit 0.50 V.",
        ),
        (
            [event for event in ENOUGH if not isinstance(event, ReadingTaken)],
            "Not read since the repair, or only in doubt: ",
        ),
    ],
    ids=["proved", "another-fault", "unread"],
)
def test_enough_good_starts_call_nothing_gone_that_readings_still_show(log, gone):
    report = compiled(*log)[0]
    assert report.follow_up.startswith(gone)
    assert report.customer.gone == [report.follow_up]


def test_the_record_holds_every_reading_and_shows_struck_ones_as_such(whole):
    report = whole[0]
    assert [line.id for line in report.readings] == list(range(1, 12))
    struck = report.readings[3]
    assert (struck.struck, struck.judged, struck.note) == (True, "struck out", "the lead slipped")
    assert [line.set for line in report.readings] == [0] * 6 + [1] * 5
    assert all(line.at is not None for line in report.readings)
    over = report.readings[5]
    assert (over.value, over.limit, over.judged) == ("0.68 V", "0.05 V", "over the limit")
    assert report.readings[0].limit == "least 12.40 V"


def test_a_reading_taken_while_it_failed_says_so_in_every_form():
    failing = {"acting_up": True, "note": "leads on the bare lugs"}
    log = [started(), *(r.model_copy(update=failing) for r in readings(SICK, POSITIVE, JOINT))]
    log += [*readings({}, GROUND), ReadingStruck(reading=1, why="the lead slipped")]
    made = compiled(*log)
    assert [line.note for line in made[0].readings] == [
        "while it failed; the lead slipped",
        "while it failed; leads on the bare lugs",
        "",
    ]
    for ending in (".html", ".md", ".json"):
        assert flat(*made, ending).count("while it failed") == 2


def test_what_was_answered_is_in_the_record_with_its_time_and_what_was_repaired_before(whole):
    report = whole[0]
    assert [(a.step, a.answer, a.set) for a in report.answers] == [
        ("heard-now", "One click, no cranking", 0),
        ("open-and-look", "Damage: loose, burnt, corroded or broken", 0),
        ("heard-now", "It cranks normally", 1),
        ("cranks-now", "It cranks as it should", 1),
    ]
    at = [a.at for a in report.answers]
    assert None not in at
    assert at == sorted(at)
    assert report.readings[4].at < at[0]
    assert report.opened == WRITTEN - timedelta(days=1)
    assert "Does it crank now? It cranks as it should." in report.customer.brought
    for ending in (".html", ".md"):
        said = flat(*whole, ending)
        assert "Asked and seen" in said
        assert "Open it up and look" in said
        assert "Damage: loose, burnt, corroded or broken" in said


def test_a_repair_that_did_not_help_is_reported_as_that_with_what_was_read_before_the_first():
    log = [started(), *readings(SICK, POSITIVE, GROUND, JOINT)]
    log += [Repaired(repair=FIX), *readings(SICK, JOINT), Repaired(repair=FIX), *readings(SICK, JOINT)]
    made = compiled(*log)
    report = made[0]
    assert [(line.helped, line.result) for line in report.repairs] == [
        (False, "It did not help: what it was to put right reads no better."),
    ] * 2
    assert "was done twice and did not help" in report.finding
    assert [line for line in report.customer.brought if "0.68 V. It did not help" in line]
    run = next(s for s in report.repairs[1].spans if "to starter B stud" in s.span)
    assert (run.before, run.first) == ("not read", "1.14 V before repair 1")
    for ending in (".html", ".md"):
        assert "not read; 1.14 V before repair 1" in flat(*made, ending)
        assert "before a repair, as those up to it told it." in flat(*made, ending)
    assert compiled(*log[:4])[0].sound_at == ""
    # One that is not read yet says nothing yet.
    unread = compiled(*log[:-1])[0]
    assert unread.repairs[1].helped is None
    assert unread.finding == ""


def test_an_answer_that_was_taken_back_is_not_given(whole):
    log = [*LOG, Answered(step="wiggle", choice="isolator-load-joint")]
    told = compiled(*log)[0].answers
    assert told[-1].answer == "The reading jumped when you moved it: load lug on the isolator"
    assert compiled(*log, TakenBack(event=len(log)))[0].answers == told[:-1]
    assert [a.model_copy(update={"at": None}) for a in whole[0].answers] == told[:-1]


def test_a_sound_cable_too_small_for_its_length_comes_with_sizes_that_do():
    complaint = Complaint(
        circuit="remote-battery",
        symptom="cranks-slowly",
        changes=Changes(parts={"long-cable": PartChange(length_m=4.2, size=Size.parse("25 mm2"))}),
    )
    at = shelf.desk_for(complaint, "no-crank-clicks", Path())
    asked = Next(kind="measure", why="", state="cranking", red=POSITIVE[0], black=POSITIVE[1])
    reading = read(at.circuit, Condition(demand_a=at.circuit.demand_a[1]), asked)
    case = Case.of(at, fold([Started(title="", complaint=complaint), reading]))
    report, drawn = compile_report(case, written=WRITTEN)
    assert report.work is None
    assert [line.part for line in report.larger] == ["long-cable"]
    sizes = " ".join(report.larger[0].sizes)
    assert "Here: 25 mm2 copper" in sizes
    assert "To fit: 70 mm2 copper" in sizes
    assert any("sound, and thin for its length" in line for line in report.customer.advice)
    for ending in (".html", ".md"):
        said = flat(report, drawn, at.circuit, ending)
        assert "Too small for its length: long cable from the isolator to the bulkhead" in said
        assert "To fit: 70 mm2 copper" in said
    assert render(report, drawn, at.circuit, ".pdf")


def test_a_value_beside_its_limit_shows_which_is_more():
    near = ReadingTaken(state="cranking", red=POSITIVE[0], black=POSITIVE[1], value=0.504, minimum=0.41, maximum=0.504)
    report, *_ = compiled(started(), near)
    # 0.5 V for the positive side, the total of US Army TM 5-3820-256-24-4.
    assert (report.readings[0].value, report.readings[0].limit) == ("0.504 V (0.41 to 0.50 V)", "0.500 V")


def test_before_and_after_stand_beside_what_was_predicted(whole):
    (repair,) = whole[0].repairs
    assert (repair.repair, repair.helped, repair.remains) == (FIX, True, [])
    assert "reading 6" in repair.finding
    assert len(repair.spans) == 5
    for span in repair.spans:
        assert span.against == "as predicted"
        assert span.predicted_band[0] <= span.after_v <= span.predicted_band[1]


def test_a_repair_that_is_called_for_says_how_it_is_done_and_what_size_to_fit(whole):
    assert whole[0].work is None
    far = ("isolator-load-lug", "bulkhead-feed-lug")
    report, drawn, circuit = compiled(started(), *readings({"long-cable": 6e-3}, POSITIVE, far, GROUND, POSTS))
    assert report.work.repair == "replace-long-cable"
    assert report.customer.advice[0] == "Have this done: replace the long cable with its ends."
    sizes = " ".join(report.work.sizes)
    # 6 mohm beside the sound cable's 1.5 mohm at the map's 170 A.
    assert "Now: loses 1.2" in sizes
    assert re.search(r"Map: 50 mm2 copper: 0\.2\d V today, 0\.4[78] V at worst: too much", sizes)
    assert re.search(r"To fit: 70 mm2 copper: 0\.1\d V today, 0\.33 V at worst, 62 C", sizes)
    # What is nearly the limit shows which of the two is more.
    assert "0.4586 V at worst, 63 C" in sizes
    assert "copper-clad" in sizes
    for ending in (".html", ".md"):
        said = flat(report, drawn, circuit, ending)
        assert "How it is done: replace the long cable with its ends" in said
        assert "To fit: 70 mm2 copper" in said
    assert render(report, drawn, circuit, ".pdf")


def test_labour_and_parts_come_to_a_total_without_what_was_struck(whole):
    # 45 min at 60 an hour and two lugs at 3.20.
    totals = whole[0].totals
    assert (totals.minutes, totals.labour, totals.parts, totals.total) == (45, 45.0, 6.4, 51.4)
    assert [line.struck for line in whole[0].costs] == [False, True, False]
    unpriced, *_ = compiled(started(), MinutesLogged(minutes=20), PartPriced(what="lug", price=2))
    assert (unpriced.totals.labour, unpriced.totals.parts, unpriced.totals.total) == (None, 2.0, None)
    assert compiled(started())[0].totals is None


def test_cautions_are_those_of_what_was_done_with_those_acknowledged(whole):
    cautions = {line.title: line.acknowledged for line in whole[0].cautions}
    assert cautions["Clear of belts and fan"] is True
    assert cautions["Ground lead off first, on last"] is False
    assert "Charging" not in cautions


def test_a_job_that_has_hardly_begun_has_a_report_too():
    report, drawn, circuit = compiled(started())
    assert report.customer.done == ["Nothing was repaired yet."]
    assert report.customer.found == ["The fault is not found yet: the tests go on."]
    for ending in (".html", ".md", ".json", ".pdf"):
        assert render(report, drawn, circuit, ending)


def test_a_demo_says_at_the_top_that_it_is_one(whole, tmp_path):
    demo = started().model_copy(update={"scenario": "parcel-van"})
    report, drawn, circuit = compiled(demo, *LOG[1:])
    assert "made up" in report.made_up
    assert "simulated" in report.made_up
    for ending in (".html", ".md"):
        told = flat(report, drawn, circuit, ending)
        assert told.index("Written") < told.index(report.made_up) < told.index("What you told us")
        assert report.made_up not in flat(*whole, ending)
    assert json.loads(render(report, drawn, circuit, ".json"))["made_up"] == report.made_up
    assert whole[0].made_up == ""
    write(report, drawn, circuit, tmp_path / "demo.pdf")
    first = " ".join(pages(tmp_path / "demo.pdf")[0].split())
    assert first.index(report.made_up) < first.index("What you told us")


def test_a_finished_job_has_a_result_and_no_next_step(whole):
    sides = readings({}, ("battery-positive-post", "s-terminal"), *PROOF)
    found = [*readings({}, POSTS, state="resting"), *readings(SICK, POSTS, POSITIVE, GROUND, JOINT)]
    ended = compiled(started(intermittent=False), *found, Repaired(repair=FIX), *sides, *LOG[-5:-3])
    for ending in (".html", ".md"):
        assert f"Next: {whole[0].next}" in flat(*whole, ending)
        told = flat(*ended, ending)
        assert "Result: The repair helped." in told
        assert "Next:" not in told


def test_only_timed_cranks_are_counted_as_such():
    report = compiled(started(), Cranked(seconds=4.0), *readings(SICK, POSTS, POSITIVE))[0]
    assert report.conditions["Timed cranks"] == "1, 4 s in all"
    assert "Cranks" not in report.conditions


def test_json_is_the_whole_report(whole):
    data = json.loads(render(*whole, ".json"))
    assert Report.model_validate(data) == whole[0]
    assert data["report"] == 1
    assert data["repairs"][0]["spans"][0]["after_v"] == pytest.approx(0.01, abs=0.005)


def test_every_form_says_the_same(whole):
    said = ["parcel van", "load lug on the isolator", "0.68 V", "as predicted", "the lead slipped", "51.40", "6 of 9"]
    html, markdown = flat(*whole, ".html"), flat(*whole, ".md")
    for words in said:
        assert words in html
        assert words in markdown
    assert whole[0].defer in html
    assert whole[0].defer in markdown


def every_span():
    """Every two points of a side, in the current's order."""
    at = desk("remote-battery").circuit
    sides = [at.points_along(*POSITIVE), at.points_along(*GROUND)]
    return [pair for side in sides for pair in combinations(side, 2)]


SIX = [POSTS, POSITIVE, GROUND, JOINT, ("isolator-load-lug", "bulkhead-stud"), ("starter-b-stud", "motor-stud")]


def long_job(count, *, repaired):
    """A job of so many readings: the same few again and again, or all of different spans with a repair halfway."""
    if not repaired:
        return [started(), *(readings(SICK, *SIX) * (count // len(SIX)))]
    spans = (every_span() * 2)[: count // 2]
    return [started(intermittent=False), *readings(SICK, *spans), Repaired(repair=FIX), *readings({}, *spans)]


@pytest.mark.parametrize("repaired", [False, True], ids=["repeated", "distinct-with-a-repair"])
def test_the_odds_are_worked_out_no_oftener_for_a_long_job_than_for_a_short_one(repaired, monkeypatch):
    """What takes time on the way to paper; the seconds are printed by `python -m tests.benchmarks.paper`."""
    made = []
    infer = Belief._infer
    monkeypatch.setattr(Belief, "_infer", lambda belief: (made.append(belief), infer(belief)))
    for count in (60, 300):
        report, drawn, circuit = compiled(*long_job(count, repaired=repaired))
        assert render(report, drawn, circuit, ".pdf")
        assert len(report.readings) == count
    short = len({id(belief) for belief in made if len(belief.evidence.measurements) <= 60})
    assert 0 < short <= 4
    assert len(made) == 2 * short


def test_a_cable_of_another_size_is_on_paper_with_what_it_was_to_read():
    cable = ("isolator-load-lug", "bulkhead-feed-lug")
    corroded = readings({"long-cable": 6e-3}, POSTS, POSITIVE, cable)
    (before, drawn, circuit) = compiled(started(), *corroded)
    assert before.work is not None
    assert before.work.repair == "replace-long-cable"
    assert any(line.startswith("Isolator load lug to bulkhead feed lug: ") for line in before.work.predicted)
    assert any("hole 8.4 mm" in line for line in before.work.sizes)
    for ending in (".html", ".md"):
        assert before.work.predicted[0] in flat(before, drawn, circuit, ending)
    fitted = {"long-cable": PartChange(size=Size.parse("95 mm2"))}
    (after, drawn, circuit) = compiled(started(), *corroded, Repaired(repair="replace-long-cable", fitted=fitted))
    told = "Long cable from the isolator to the bulkhead: 95 mm2 copper fitted, 50 mm2 copper before."
    assert after.repairs[0].fitted == [told]
    for ending in (".html", ".md"):
        assert told in flat(after, drawn, circuit, ending)
    assert drawn.labels["size:long-cable"] == "4.2 m 95 mm2"
    assert render(after, drawn, circuit, ".pdf").startswith(b"%PDF-")


# --- drawings --------------------------------------------------------------------------------------------------------


def test_the_drawn_circuit_has_every_part_and_marks_what_is_over():
    _, drawn, circuit = compiled(started(), *readings(SICK, POSITIVE, JOINT))
    svg = circuit_svg(circuit, drawn)
    words = [node.text for node in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]
    for name, passive in circuit.parts.items():
        assert any(passive.part.label[:25] in word for word in words), name
    (over,) = [word for word in words if "over" in word]
    assert over.startswith("! over 0.68 V")
    assert words.count("M") == 1


def test_the_plot_has_the_band_and_the_readings_before_and_now(whole):
    now, before = (ElementTree.fromstring(profile_svg(d)) for d in (whole[1], compiled(*LOG[:11])[1]))
    lines = [len(tree.findall("{http://www.w3.org/2000/svg}polyline")) for tree in (now, before)]
    dashed = [n for n in now.iter() if n.tag.endswith("polyline") and n.get("stroke-dasharray")]
    assert len(now.findall("{http://www.w3.org/2000/svg}polygon")) == 2
    assert lines[0] > lines[1]
    assert dashed


def test_drawings_use_no_colour_and_nothing_outside(whole):
    for svg in (circuit_svg(whole[2], whole[1]), profile_svg(whole[1])):
        assert set(re.findall(r"#[0-9a-f]{3,6}\b", svg)) <= {"#000", "#fff", "#ddd", "#888"}
        assert not re.search(r"href|url\(|<style|<script|<image|@import", svg)


# --- text of the user's ----------------------------------------------------------------------------------------------

NASTY = [
    '<script>document.title="pwned"</script>',
    "<img src=x onerror=alert(1)>",
    "</bdi></style><b>bold</b>",
    "[link](javascript:alert(1)) **strong** `code` | cell |",
    '#panic("typst") #text(red)[x] $x^2$ @ref',
    "{{ 7*7 }}{% raw %}",
    "1. not a list\n# not a heading",
    "\u202eright to left\u202c \u2067isolated\u2069 \u200b",
    "\x1b[31mred\x07",
    "x" * 10_000,
]


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, tuple(name for name, _ in attrs)))

    def handle_data(self, data):
        self.text.append(data)


def nasty_report(texts):
    """A job with these texts wherever a user can write; not checked, as if the checks were not there."""
    first = texts[0]
    log = [
        Started.model_construct(title=first, complaint=started().complaint, flow="no-crank-clicks", scenario=None),
        *(SLIPPED.model_copy(update={"note": text}) for text in texts),
        ReadingStruck.model_construct(reading=1, why=first),
        *(Noted.model_construct(text=text) for text in texts),
        MinutesLogged.model_construct(minutes=5.0, work=first, step=None),
        PartPriced.model_construct(what=first, price=1.0, count=1.0),
    ]
    return compiled(*log)


@pytest.mark.parametrize("text", NASTY, ids=lambda text: repr(text[:12]))
def test_no_text_of_the_users_is_markup_in_html(text):
    plain, nasty = _Tags(), _Tags()
    plain.feed(render(*nasty_report(["plain"]), ".html").decode())
    html = render(*nasty_report([text]), ".html").decode()
    nasty.feed(html)
    assert nasty.tags == plain.tags
    assert not re.search(r"[\u200b-\u200f\u202a-\u202e\u2066-\u2069\x00-\x08\x0b\x1b]", html)
    shown = text.split("\n")[0][:14]
    if shown.isprintable():
        assert shown in "".join(nasty.text)


@pytest.mark.parametrize("text", NASTY, ids=lambda text: repr(text[:12]))
def test_no_text_of_the_users_is_markup_in_markdown(text):
    plain, nasty = (render(*nasty_report([t]), ".md").decode() for t in ("plain", text))
    assert nasty.count("\n") == plain.count("\n")
    bare = re.sub(r"\\.", "", nasty)
    assert bare.count("|") == re.sub(r"\\.", "", plain).count("|")
    assert not re.search(r"<(script|img|b|/)", nasty)
    assert "](" not in bare
    assert len(re.findall(r"(?m)^#+ ", nasty)) == len(re.findall(r"(?m)^#+ ", plain))


@pytest.mark.parametrize("text", NASTY, ids=lambda text: repr(text[:12]))
def test_no_text_of_the_users_stops_or_changes_the_pdf(text, tmp_path):
    pdf = render(*nasty_report([text]), ".pdf")
    assert pdf.startswith(b"%PDF-")
    shown = text.split("\n")[0][:14]
    if shutil.which("pdftotext") and shown.isprintable():
        (tmp_path / "nasty.pdf").write_bytes(pdf)
        told = subprocess.run(["pdftotext", tmp_path / "nasty.pdf", "-"], capture_output=True, text=True, check=True)
        assert shown[:8] in told.stdout.replace("\u200b", "")


# --- files -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".html", ".HTM", ".pdf", ".md", ".json"])
def test_the_form_follows_the_ending_and_a_file_that_is_there_is_kept(whole, tmp_path, ending):
    file = tmp_path / f"van{ending}"
    write(*whole, file)
    first = file.read_bytes()
    with pytest.raises(DropwalkError, match="is there already"):
        write(*whole, file)
    assert file.read_bytes() == first
    write(*whole, file, replace=True)


@pytest.mark.parametrize(("name", "told"), [("van.xls", "'.xls'; use .html"), ("van", "no ending")])
def test_an_ending_that_says_no_form_is_refused(whole, tmp_path, name, told):
    with pytest.raises(DropwalkError, match=re.escape(told)):
        write(*whole, tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_a_place_that_is_not_there_is_said(whole, tmp_path):
    with pytest.raises(DropwalkError, match="can't be written"):
        write(*whole, tmp_path / "nowhere" / "van.html")


# --- a browser and a PDF reader --------------------------------------------------------------------------------------


@pytest.fixture
def asked():
    """A web server of its own and the paths that anyone asked it for."""
    paths = []

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            paths.append(self.path)
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", paths
    server.shutdown()


def browse(tmp_path, page, *words):
    """Open a page in a headless browser; what it prints."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("no chromium here: install the package chromium to run this test")
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    options += ["--disable-background-networking", f"--user-data-dir={tmp_path / 'profile'}"]
    done = subprocess.run(
        [browser, *options, *words, page.as_uri()], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr[-500:]
    return done.stdout


def test_a_browser_shows_the_report_and_asks_the_network_for_nothing(tmp_path, asked):
    address, paths = asked
    texts = [
        f'<img src="{address}/image">',
        f'<script src="{address}/script"></script>',
        f'<link rel="stylesheet" href="{address}/style">',
        f"<style>body {{ background: url({address}/url) }}</style>",
    ]
    control, page = tmp_path / "control.html", tmp_path / "van.html"
    control.write_text("<!DOCTYPE html>" + "".join(texts))
    browse(tmp_path, control, "--dump-dom")
    assert "/image" in paths
    paths.clear()
    write(*nasty_report(texts), page)
    shown = _Tags()
    shown.feed(browse(tmp_path, page, "--dump-dom"))
    assert paths == []
    assert not {"img", "script", "link"} & {tag for tag, _ in shown.tags}
    assert f"{address}/script" in "".join(shown.text)


def test_a_browser_paints_and_prints_the_report(whole, tmp_path):
    page, picture, paper = (tmp_path / name for name in ("van.html", "van.png", "van.pdf"))
    write(*whole, page)
    browse(tmp_path, page, "--window-size=900,3000", f"--screenshot={picture}")
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert picture.stat().st_size > 50_000
    browse(tmp_path, page, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    first, *rest = pages(paper)
    assert "What was wrong" in first
    assert "The record" not in first
    assert rest


def pages(pdf):
    """The text of each page."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here: install the package poppler-utils to run this test")
    told = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True)
    return told.stdout.split("\f")[:-1]


@pytest.mark.parametrize(("paper", "width"), [("a4", 595), ("us-letter", 612)])
def test_the_pdf_has_one_page_for_the_customer_on_the_paper_asked_for(whole, tmp_path, paper, width):
    file = tmp_path / "van.pdf"
    write(*whole, file, paper=paper)
    assert abs(float(re.search(rb"/MediaBox ?\[0 0 ([\d.]+)", file.read_bytes())[1]) - width) < 1
    first, *rest = pages(file)
    assert "What was wrong" in first
    assert "The record" not in first
    assert "The record" in rest[0]
    words = " ".join(" ".join(rest).split())
    for said in ("Where the volts went", "solenoid contacts", "struck out", "51.40", "Cautions"):
        assert said in words + first
