"""Where the odds come from: what each reading did to them, and what would change the answer."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from wizard.quantities import show_amps, show_volts
from wizard.ui.suspects_view import fault_name
from wizard.ui.why_page import told
from wizard.walk.assessment import Assessment
from wizard.walk.drawing import short_name
from wizard.walk.events import ReadingTaken
from wizard.walk.odds import LEAST_SHOWN, odds_bar, odds_word
from wizard.walk.shifts import Shift
from wizard.walk.state import Reading


def odds_text(
    assessment: Assessment, shifts: Sequence[Shift], *, pending: Sequence[Reading] = (), bars: bool = True
) -> Content:
    """Suspects, the history of their odds, and the tests that would move them; `bars` draws the odds too.

    What the `pending` readings did, which were taken before the others, is still being worked out.
    """
    lines = [Content.assemble(("Suspects now", "bold $primary"), ", with the odds that each is at fault")]
    if not assessment.enough:
        lines.append(Content("Not enough to say yet: no repair stands out so far."))
    for suspect in assessment.suspects:
        if suspect.probability >= LEAST_SHOWN:
            odds, word = suspect.probability, odds_word(suspect.probability)
            drawn = f"{odds:4.2f} {odds_bar(odds)} {word:11} {fault_name(suspect.part, suspect.fault)}"
            lines.append(Content(drawn if bars else f"{fault_name(suspect.part, suspect.fault)}, {word}, {odds:.2f}"))
    if sum(suspect.probability for suspect in assessment.suspects) > 1.0 + LEAST_SHOWN:
        lines.append(Content("They add up to more than 1: two things can be wrong at once."))
    lines.append(Content.styled("\nWhat each reading did to these odds", "bold $primary"))
    for reading in pending:
        lines.append(Content.styled(f"{reading.number}. {_reading(reading.taken)}", "bold"))
        lines.append(Content("   working it out"))
    if not shifts and not pending:
        lines.append(Content("No reading stands since the last repair."))
    for shift in shifts:
        lines.append(Content.styled(f"{shift.reading.number}. {_reading(shift.reading.taken)}", "bold"))
        for move in shift.moves:
            word = "up" if move.after > move.before else "down"
            name = fault_name(move.part, move.fault)
            lines.append(Content(f"   {name}: {word} from {move.before:.2f} to {move.after:.2f}"))
        if not shift.moves:
            lines.append(Content("   changed little: it reads as was to be expected"))
    lines.append(Content.styled("\nWhat would change the answer", "bold $primary"))
    step = assessment.next
    tests = [t for t in (step, *(step.alternatives or [])) if t.kind in ("measure", "ask", "prove")]
    lines += [Content(f"- {told(test)}") for test in tests]
    if not tests:
        lines.append(Content("No test within reach; a repair that does not help, or a reading that does not fit."))
    return Content("\n").join(lines)


def _reading(taken: ReadingTaken) -> str:
    value = "open" if isinstance(taken.value, str) else (show_amps if taken.clamp else show_volts)(taken.value)
    where = f"around {short_name(taken.clamp)}" if taken.clamp else ""
    where = where or f"{short_name(taken.red or '')} to {short_name(taken.black or '')}"
    return f"{value}, {where}{', start held' if taken.state == 'cranking' else ', at rest'}"
