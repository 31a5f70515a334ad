"""Help texts: the keys of each screen, and what the product is and is not."""

from __future__ import annotations

from textual.content import Content

_JOB_KEYS = (
    ("0-9 . , -", "type a reading: 0.7, 700 mV, ,7 or open; Enter takes it"),
    ("1-9", "answer a step that asks"),
    ("Enter", "go on: confirm cautions, see the finding"),
    ("j", "jump to any step by a few letters"),
    ("m", "take another reading: any two points, or a clamp"),
    ("r", "readings: take back, correct or repeat any of them"),
    ("u", "take back the last thing you did"),
    ("w", "why this step, what good looks like, usual mistakes"),
    ("l", "learn: the longer text for this step"),
    ("c", "cautions, all of them, at any time"),
    ("t", "time a crank: 30 s at the most, then 2 minutes of rest"),
    ("f", "finding: what the readings show, the odds, the repair"),
    ("b", "change between the walk and the best next test"),
    ("x", "a point can't be reached, or can be again"),
    ("n", "note for the record"),
    ("e", "put the complaint or the vehicle differently"),
    ("d", "demo: take what the simulated meter, eye or ear tells"),
    ("Up Down", "scroll the drawing"),
    ("Esc", "back: empties the reading, then leaves; the job is kept"),
)
_MARKS = (
    ("R  B  A", "red lead, black lead, clamp; # marks the parts between the leads"),
    ("=  ok", "within what practice allows, and as a sound part reads"),
    ("^  high", "allowed, but well above what a sound part would lose"),
    ("~  marginal", "just over what practice allows"),
    ("!  over", "over what practice allows"),
    ("?", "not known yet; with odds where the part is a suspect"),
)


def _table(rows: tuple[tuple[str, str], ...]) -> Content:
    return Content("\n").join([Content.assemble((f"{key:15}", "bold $primary"), text) for key, text in rows])


JOB_HELP = Content("\n").join(
    [
        _table(_JOB_KEYS),
        Content("\nLetters are keys while the reading is empty; once a number is begun they are its unit.\n"),
        _table(_MARKS),
    ]
)

ABOUT = Content(
    "dropwalk walks you from a starter that only clicks to a proven repair: it says where to put the leads, what "
    "a sound circuit of this length, size and temperature would read, what practice allows, and what the readings "
    "mean together.\n\n"
    "Every event is on disk before you see it. Nothing recorded is erased: what you take back stays, struck out.\n\n"
    "It knows resistances, a load and odds. It does not see smoke, a cracked casing or a wrong part number, and it "
    "is not the maker's service information.\n"
)
