"""The first page of a report: for the customer, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from wizard.circuit.heard import Heard
from wizard.circuit.map import RepairKind, Side
from wizard.diagnosis.faults import NO_REPAIR
from wizard.quantities import capitalised, printable, show_volts
from wizard.record.names import Names
from wizard.record.proof_lines import result_words, unsettled_words
from wizard.record.repair_words import follow_up_words
from wizard.record.report_lines import AnswerLine, Customer
from wizard.walk.assessment import Assessment, Remark
from wizard.walk.case import Case, symptom_of
from wizard.walk.follow_up import FollowUpView
from wizard.walk.proof import RepairProof

HEARD = {
    Heard.CRANKS_NORMALLY: "it cranks as it should",
    Heard.CRANKS_SLOWLY: "it cranks slowly",
    Heard.ONE_CLICK: "one click, then nothing",
    Heard.RAPID_CLICKS: "rapid clicks",
    Heard.NO_CLICK: "nothing, not even a click",
}
# What a customer is told of repairs that are of no single part.
_AT_FAULT = {
    "charge-battery": "The battery was low on charge.",
    "replace-battery": "The battery is worn out: its volts fall too far while the starter works.",
    "replace-starter": "The starter itself is at fault.",
    "free-the-engine": "The engine, or something that it drives, is too hard to turn.",
}


def customer_page(
    case: Case,
    found: Assessment,
    proofs: Sequence[RepairProof],
    follow_up: FollowUpView,
    answers: Sequence[AnswerLine],
    not_tested: list[str],
) -> Customer:
    """What was told, found, done and won, and what is left, for someone who owns the vehicle and no meter."""
    state, names = case.state, Names(case.desk.circuit)
    complaint, symptom = state.complaint, symptom_of(case.desk, state)
    told = [f"When you start it: {HEARD[symptom]}." if symptom else "What is heard when you start it was not told."]
    if complaint and complaint.intermittent:
        told.append("It comes and goes.")
    brought = [_result(proof) for proof in proofs]
    if proofs:
        brought += [capitalised(line) for line in proofs[-1].remains]
        if found.finding and found.finding.proved and found.repairs[0].repair == NO_REPAIR:
            brought.append("Nothing else that wants a repair was shown.")
    brought += [f"{line.question} {line.answer}." for line in answers if line.of_repair and line.set == len(proofs)]
    unsettled = unsettled_words(names, proofs[-1]) if proofs else []
    gone = follow_up_words(follow_up, unsettled) if complaint and complaint.intermittent else ""
    advice = [f"Have this done: {names.repair(case.found[0])}."] if case.found else []
    advice += [_advice(case, remark) for remark in found.remarks if remark.part is not None]
    return Customer(
        told=told,
        found=list(dict.fromkeys(_findings(case, found))),
        done=[f"{capitalised(names.repair(repair))}." for repair in state.repairs] or ["Nothing was repaired yet."],
        brought=brought,
        gone=[gone] if gone else [],
        not_tested=not_tested,
        advice=advice,
    )


def _advice(case: Case, remark: Remark) -> str:
    """What is no fault today and yet worth knowing."""
    label = capitalised(printable(case.desk.circuit.parts[remark.part or ""].part.label))
    if remark.about == "cable":
        return f"{label}: sound, and thin for its length. A thicker one would leave the starter more volts."
    return f"{label}: loses more than it should, and not too much yet. Have it looked at when there is work near it."


def _findings(case: Case, found: Assessment) -> Iterator[str]:
    repairs = case.state.repairs
    for repair in repairs:
        yield _at_fault(case, repair)
    finding = found.finding
    if finding and finding.repair not in repairs:
        yield _at_fault(case, finding.repair)
    elif not repairs and not finding:
        sound = found.next.kind == "finish" and found.repairs[0].repair == NO_REPAIR
        yield "Nothing wrong was shown." if sound else "The fault is not found yet: the tests go on."


def _at_fault(case: Case, repair: str) -> str:
    circuit = case.desk.circuit
    if repair in _AT_FAULT:
        return _AT_FAULT[repair]
    own = [p.part for p in circuit.parts.values() if p.part.repair == repair]
    if not own or circuit.repairs[repair].kind is RepairKind.HAND_OVER:
        return f"{capitalised(Names(circuit).repair(repair))}."
    parts = " or ".join(dict.fromkeys(printable(part.label) for part in own))
    way = "to the switch of the starter" if own[0].side is Side.CONTROL else "to the starter and back"
    return f"Too many of the battery's volts were lost in one place on their way {way}: {parts}."


def _result(proof: RepairProof) -> str:
    first = next((s for s in proof.spans if s.before is not None and s.after is not None and not s.what.clamp), None)
    if first is None or first.before is None or first.after is None:
        return result_words(proof)
    told = "reached there" if first.floor else "were lost there"
    numbers = f"Before the repair {show_volts(first.before)} {told}, after it {show_volts(first.after)}."
    return f"{numbers} {result_words(proof)}"
