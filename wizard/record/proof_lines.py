"""Before and after each repair in words: what was read, what was predicted, what came of it and what is left."""

from __future__ import annotations

from wizard.diagnosis.finding import Shown
from wizard.diagnosis.sentences import cleared, statement
from wizard.quantities import show_against, show_amps, show_band, show_volts
from wizard.record.names import Names
from wizard.record.printout import FLOOR_JUDGED, JUDGED
from wizard.record.repair_words import band_words, fitted_words
from wizard.record.report_lines import RepairLine, SpanLine
from wizard.walk.case import Case
from wizard.walk.proof import RepairProof, SpanProof, repair_proofs

_AGAINST = {
    "as-predicted": "as predicted",
    "below": "below the prediction",
    "above": "above the prediction",
    "not-read": "not read",
    "not-foretold": "",
}


def repair_lines(case: Case, proofs: tuple[RepairProof, ...] | None = None) -> list[RepairLine]:
    """Every repair that was done, in order, with its proof; `proofs` are the case's where they are at hand."""
    cases: list[Case] = [case]
    while cases[-1].before is not None:
        cases.append(cases[-1].before)
    befores = cases[:0:-1]
    proofs = repair_proofs(case) if proofs is None else proofs
    return [_repair(case, proof, before) for proof, before in zip(proofs, befores, strict=True)]


def _repair(case: Case, proof: RepairProof, before: Case) -> RepairLine:
    names = Names(case.desk.circuit)
    shown: Shown | None = before.found[1] if before.found and before.found[0] == proof.repair else None
    told = "Done without a finding: no reading had shown it directly."
    if shown is not None:
        limits = before.desk.limits
        told = statement(before.belief, limits, shown) + cleared(before.belief, limits, proof.repair)
    return RepairLine(
        number=proof.number,
        repair=proof.repair,
        label=names.repair(proof.repair),
        finding=told,
        evidence=list(shown.drop.numbers) if shown else [],
        fitted=[fitted_words(before.desk.circuit, *fit) for fit in case.state.fits[proof.number - 1].items()],
        helped=proof.helped,
        result=result_words(proof),
        spans=[_span(names, span) for span in proof.spans],
        remains=list(proof.remains),
        unsettled=unsettled_words(names, proof),
    )


def result_words(proof: RepairProof) -> str:
    """Whether a repair helped, as far as it was measured."""
    match proof.helped:
        case None:
            return "The proof is not complete: not every span of it was measured again."
        case True:
            return "The readings after it show that it helped."
        case False if proof.some:
            return "It did not help enough: what it was to put right reads better, and still not as it should."
        case False:
            return "It did not help: what it was to put right reads no better."


def unsettled_words(names: Names, proof: RepairProof) -> list[str]:
    """What keeps the fault from being called gone, however well it starts: past its limit first, then unread."""
    over = [_span(names, span) for span in proof.spans if span.at_fault]
    unread = [_span(names, span) for span in proof.spans if span.unread]
    told = [f"Still past its limit: {line.span}, {line.after}, limit {line.limit}." for line in over]
    if unread:
        told.append(f"Not read since the repair, or only in doubt: {'; '.join(line.span for line in unread)}.")
    return told


def _span(names: Names, span: SpanProof) -> SpanLine:
    what, told = span.what, span.predicted
    show = show_amps if what.clamp else show_volts

    def value(number: float | None, numbers: tuple[int, ...], shown: str = "") -> str:
        if number is None:
            return "open" if numbers else "not read"
        return shown or show(number)

    after, limit = "", ""
    if span.limit is not None and span.after is not None:
        after, limit = show_against(span.after, span.limit)
    elif span.limit is not None:
        limit = show_volts(span.limit)
    return SpanLine(
        span=f"{names.span(what.red, what.black, what.clamp)}, {what.state}",
        before=value(span.before, span.before_numbers) + _difference(span.before_numbers, span.before_apart),
        predicted=band_words(told) if told is not None else _not_foretold(span),
        after=value(span.after, span.numbers, after) + _difference(span.numbers, span.apart),
        sound=f"{span.sound[0]:.0f} to {show_amps(span.sound[1])}" if what.clamp else show_band(*span.sound),
        limit=f"{'least ' if span.floor else ''}{limit}" if limit else "",
        judged=(FLOOR_JUDGED if span.floor else JUDGED)[span.judgement],
        against=_AGAINST[span.against],
        won_back=_won_back(span),
        first=_first(span),
        margin=_margin(span),
        before_v=span.before,
        predicted_band=None if told is None else (told.low, told.high),
        after_v=span.after,
        readings=list(span.numbers),
    )


def _not_foretold(span: SpanProof) -> str:
    why = "what was read before leaves it open" if span.before_numbers else "it was not read before"
    return f"nothing was foretold: {why}"


def _first(span: SpanProof) -> str:
    """What was read before an earlier repair, and before which; nothing where nothing was."""
    if span.first is None:
        return ""
    number, drop = span.first
    shown = "open" if drop.volts is None else (show_amps if span.what.clamp else show_volts)(drop.volts)
    return f"{shown} before repair {number}{_difference(drop.numbers, len(drop.spans) > 1)}"


def _difference(numbers: tuple[int, ...], apart: bool) -> str:
    """Which two readings a value is the difference of; nothing for one that was read straight across."""
    return f" (readings {' and '.join(map(str, numbers))}, their difference)" if apart else ""


def _won_back(span: SpanProof) -> str:
    won = span.won_back
    if won is None:
        return ""
    if abs(won) < span.tells_v:
        return "no change that readings tell"
    if won > 0:
        return f"{show_volts(won)} won back"
    return f"{show_volts(-won)} {'less there' if span.floor else 'more lost'}"


def _margin(span: SpanProof) -> str:
    """How far it is from its limit, in volts and in times."""
    left, times = span.margin_v, span.margin_times
    if left is None:
        return ""
    past = f"{show_volts(-left)} past it"
    if span.floor:
        return f"{show_volts(left)} above it" if left >= 0 else past
    if left < 0:
        return past
    # Near the limit a tenth says nothing.
    fits = "" if times is None else f"; the limit is {times:.{1 if times >= 1.95 else 2}f} times what it loses"
    return f"{show_volts(left)} to spare{fits}"
