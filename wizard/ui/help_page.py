"""Help: the keys of each screen, the marks of the drawing, and what the product is and is not."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.content import Content
from textual.screen import Screen

from wizard.ui.keybar import Key
from wizard.ui.visit import Page, Visit

JOB_KEYS: list[Key] = [
    ("0-9 . , -", "type a reading: 0.7, ,7, 700 mV, open; 0.9-1.3, 0.9..1.3 or 0.9 to 1.3 for a range; Enter takes it"),
    ("1-9  Enter", "answer a step that asks, by the number alone; a click on the answer does too"),
    ("Enter", "go on: confirm cautions, see the finding"),
    ("u", "take back the last thing you did, whatever it was; u again or Enter does it"),
    ("j", "jump to any step, point, part or reading by a few letters (F2 from any page)"),
    ("Up Down", "point at a part of the drawing"),
    ("p", "the part you point at: size, drop, limit, odds, repair; a click on it does too"),
    ("v", "volts lost along the run, drawn against a sound circuit"),
    ("m", "take another reading: any two points, or a clamp"),
    ("k", "the next reading is of the same crank as the last one"),
    ("a", "it fails now: mark readings as taken while the fault shows; a again or Enter does it"),
    ("r", "readings: take back, correct, repeat or remark on any of them"),
    ("x", "a point can't be reached, or can be again"),
    ("t", "time a crank: 30 s at the most, then 2 minutes of rest"),
    ("h", "how sure: what each reading did to them, what would change the answer"),
    ("f", "finding: what the readings show, the odds, the repair"),
    ("z", "repair: how it is done, its size, what it will read; afterwards before and after"),
    ("i", "starts counted over days, until a fault that comes and goes counts as gone"),
    ("y", "labour and parts, with their total"),
    ("q", "report: HTML, PDF, Markdown or JSON"),
    ("w", "why this step, what good looks like, usual mistakes"),
    ("l", "learn: the longer text for this step"),
    ("g", "glossary of the trade's words"),
    ("c", "cautions, all of them, at any time"),
    ("b", "change between the walk and the best next test; it is remembered"),
    ("n", "note for the record"),
    ("e", "put the complaint or the vehicle differently"),
    ("s", "settings: colours, units, layout, bell, your meter"),
    ("d", "demo: take what the simulated meter, eye or ear tells"),
    ("PgUp PgDn", "scroll the drawing"),
    ("Esc", "back: empties the reading, then leaves; the job is kept"),
]
_MARKS: list[Key] = [
    ("R  B  A", "red lead, black lead, clamp; # marks the parts between the leads, > what you point at"),
    ("x", "a point that can't be reached"),
    ("=  ok", "within what practice allows, and as a sound part reads"),
    ("^  watch", "allowed, but well above what a sound part would lose"),
    ("-  no amps", "far less than a sound part would lose: hardly any current goes through it"),
    ("~  marginal", "just over what practice allows"),
    ("<  too small", "over what practice allows, yet as sound parts of this size read"),
    ("?  rough", "the difference of two cranks, too blurred to judge: measure straight across"),
    ("!  over", "over what practice allows, and above what sound parts read"),
    ("v  too low", "volts that ought to be there and are not: battery or motor"),
    ("?", "not known yet; with odds where the part is a suspect"),
]
HOME_KEYS: list[Key] = [
    ("Enter", "open the job that the bar is on, exactly where it was left"),
    ("n", "new job: what the vehicle does, and how it differs from its map"),
    ("d", "a made-up vehicle with a simulated meter"),
    ("e", "exercises: play one at the bench, or go on with one, and hand it in"),
    ("i", "starts of the job that the bar is on: what was repaired waits for good ones"),
    ("/", "find a job by a few letters of its title, circuit or symptom"),
    ("x", "archive a job: off the list, never erased; on the archive's list, put it back"),
    ("z", "show the archive, or the jobs at hand"),
    ("s", "settings: colours, units, layout, bell, your meter"),
    ("g", "glossary of the trade's words"),
    ("a", "what this is, what it does not know, and every caution"),
    ("Ctrl+T", "light or dark, on any screen"),
    ("q", "quit"),
]
INTAKE_KEYS: list[Key] = [
    ("Up Down", "choose a line"),
    ("Enter", "answer it; what you don't know you may leave as it is"),
    ("s", "begin the job, or keep what you changed"),
    ("x", "empty a new job of what was put in before"),
    ("Esc", "leave; what you put in for a new job is there when you press n again"),
]
_LETTERS = (
    "A letter alone is a key while the reading is empty; once something is typed there, letters are text. "
    "Letters that come together are text too, and do nothing."
)

ABOUT = Content(
    "dropwalk walks you from a starter that only clicks to a proven repair: it says where to put the leads, what "
    "a sound circuit of this length, size and temperature would read, what practice allows, and what the readings "
    "mean together.\n\n"
    "Every event is on disk before you see it. Nothing recorded is erased: what you take back stays, struck out.\n\n"
    "It knows resistances, a load and odds. It does not see smoke, a cracked casing or a wrong part number, and it "
    "is not the maker's service information.\n"
)


class HelpPage(Page):
    """The keys of the screen that it was asked on."""

    keys: ClassVar[list[Key]] = [("Up Down", "scroll"), ("Esc", "back")]

    def __init__(self, screen: Screen[Any]) -> None:
        super().__init__("Help", help_for(screen))


def help_for(screen: Screen[Any]) -> Content:
    """What works on this screen."""
    from wizard.ui.home import HomeScreen
    from wizard.ui.intake import IntakeScreen

    if isinstance(screen, Visit):
        return Content("\n").join([*([Content(f"{screen.about}\n")] if screen.about else []), _table(screen.keys)])
    if isinstance(screen, HomeScreen):
        return _table(HOME_KEYS)
    if keys_text := getattr(screen, "keys_text", ""):
        return Content(keys_text)
    if isinstance(screen, IntakeScreen):
        return _table(INTAKE_KEYS)
    return Content("\n").join([_table(JOB_KEYS), Content(f"\n{_LETTERS}\n"), _table(_MARKS)])


def _table(rows: list[Key]) -> Content:
    return Content("\n").join([Content.assemble((f"{key:15}", "bold $primary"), text) for key, text in rows])
