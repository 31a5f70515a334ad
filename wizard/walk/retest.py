"""After a repair: what to measure again, and whether it helped."""

from __future__ import annotations

import numpy as np

from wizard.circuit.network import Observable
from wizard.diagnosis.evidence import DOUBTED
from wizard.diagnosis.faults import MATERIAL_V, NO_REPAIR, site_span
from wizard.diagnosis.finding import Drop, drop_between, expected_band
from wizard.quantities import show_volts
from wizard.walk.assessment import Assessment
from wizard.walk.case import Case, Taken
from wizard.walk.state import JobState


def repair_due(assessment: Assessment, state: JobState) -> str | None:
    """The repair that the readings call for and that is still to be done."""
    repair = assessment.next.repair
    if repair is None and assessment.finding is not None and not state.repairs:
        repair = assessment.finding.repair
    return None if repair == NO_REPAIR else repair


def repaired_span(case: Case) -> tuple[Observable, float | None] | None:
    """The span of what was repaired last, and the volts it showed before; None for a repair that no site calls for.

    What two readings showed by their difference is measured straight across after the repair.
    """
    before, repair = case.before, case.state.repairs[-1]
    if before is not None and before.found is not None and before.found[0] == repair:
        shown = before.found[1]
        if len(shown.drop.spans) == 1:
            return shown.drop.spans[0], shown.drop.volts
        return Observable("cranking", shown.start, shown.end), shown.drop.volts
    for site in case.belief.model.sites:
        if site.repair == repair:
            state = "resting" if site.fault == "discharged" else "cranking"
            return Observable(state, *site_span(case.desk.circuit, site)), None
    return None


def proof_spans(case: Case) -> list[Observable]:
    """What must be measured again after the last repair: what showed the fault, and each run with start held.

    The whole runs tell whether something is left that the first fault hid.
    """
    circuit = case.desk.circuit
    role = circuit.roles
    span = repaired_span(case)
    spans = [span[0]] if span else []
    spans.append(Observable("cranking", role["battery.positive"], role["battery.negative"]))
    spans += [Observable("cranking", *circuit.runs[run]) for run in ("positive", "ground", "contacts", "control")]
    reach = case.state.out_of_reach
    return [what for what in dict.fromkeys(spans) if not {what.red, what.black} & reach]


def reads(case: Case, what: Observable) -> Drop:
    """What trusted readings of this state of the circuit say of a span, in volts or amps.

    It is without numbers where none does.
    """
    readings = [t.measurement for t in case.taken if case.belief.doubt.get(t.measurement.number, 0.0) < DOUBTED]
    if what.state == "cranking" and not what.clamp:
        return drop_between(readings, what.red, what.black) or Drop(None, (), ())
    same = [m for m in readings if m.what == what]
    values = [m.value for m in same if m.value is not None]
    return Drop(float(np.mean(values)) if values else None, tuple(m.number for m in same), (what,) if same else ())


def earlier_reads(case: Case, what: Observable) -> dict[int, Drop]:
    """What a span read before each repair, by the number of repairs done by then, the latest first.

    States of the circuit in which it was not read are left out.
    """
    told: dict[int, Drop] = {}
    while case.before is not None:
        case = case.before
        if (drop := reads(case, what)).numbers:
            told[len(case.state.repairs)] = drop
    return told


def _taken_again(case: Case, what: Observable) -> Taken | None:
    """The latest reading of a span since the repair, whichever way round."""
    if what.clamp:
        return next((t for t in reversed(case.taken) if t.measurement.what == what), None)
    return case.has(what.state, what.red, what.black)


def _value_again(case: Case, what: Observable) -> float | None:
    """The value of that reading; None where it is open or not read."""
    taken = _taken_again(case, what)
    return None if taken is None or taken.measurement.value is None else abs(taken.measurement.value)


def unproved(case: Case) -> Observable | None:
    """The first span of the proof that has not been read again; None when all have been, or the first did not help."""
    span = repaired_span(case)
    if span is not None and _taken_again(case, span[0]) is not None and not _helped(case):
        return None
    return next((what for what in proof_spans(case) if _taken_again(case, what) is None), None)


def did_not_help(case: Case) -> bool:
    """Whether what the last repair was meant to put right was read again and is not as it should be.

    A reading in doubt does not say so.
    """
    if case.before is None or (span := repaired_span(case)) is None:
        return False
    again = _taken_again(case, span[0])
    return again is not None and case.belief.doubt.get(again.measurement.number, 0.0) < DOUBTED and not _helped(case)


def helped_some(case: Case) -> bool:
    """Whether the last repair won something back all the same that readings can tell."""
    span = repaired_span(case)
    after = _value_again(case, span[0]) if span else None
    if span is None or after is None or span[1] is None or span[0].clamp:
        return False
    return _won(case, span[0], span[1], after) > tells_v(case, span[1], after, floor=_is_floor(case, span[0]))


def proved(case: Case) -> bool:
    """Whether the readings after the last repair show that it helped, and all of them were taken."""
    return case.before is not None and unproved(case) is None and _helped(case)


def _helped(case: Case) -> bool:
    """Whether the repaired span reads better than before, and as it should."""
    span = repaired_span(case)
    after = _value_again(case, span[0]) if span else None
    if span is None or after is None:
        return False
    (what, before), circuit, limits = span, case.desk.circuit, case.desk.limits
    if what.clamp:
        return after <= circuit.demand_a[2] * 1.05
    _, judgement = limits.judge(circuit, what.state, what.red, what.black, after)
    if limits.floor_row(circuit, what.state, what.red, what.black):
        return judgement in ("within", "marginal")
    least = MATERIAL_V * circuit.scale
    as_sound = after <= expected_band(case.belief, what)[1] + 0.5 * least
    won = before is None or abs(before) - after >= least
    return won and (as_sound or judgement in ("within", "marginal"))


def won_back(case: Case) -> str:
    """What the repair changed, as a sentence that follows another."""
    span = repaired_span(case)
    after = _value_again(case, span[0]) if span else None
    if span is None or after is None or span[0].clamp:
        return " Measured again after the repair: put right."
    what, before = span
    if before is None:
        return f" After the repair it reads {show_volts(after)}: put right."
    won = _won(case, what, before, after)
    told = won > tells_v(case, before, after, floor=_is_floor(case, what))
    return f" After the repair it reads {show_volts(after)}" + (f": {show_volts(won)} won back." if told else ".")


def _is_floor(case: Case, what: Observable) -> bool:
    """Whether a span is judged by the volts that are there, as battery and motor are, not by those that are lost."""
    return bool(case.desk.limits.floor_row(case.desk.circuit, what.state, what.red, what.black))


def _won(case: Case, what: Observable, before: float, after: float) -> float:
    return after - abs(before) if _is_floor(case, what) else abs(before) - after


def tells_v(case: Case, before: float | None, after: float | None, *, floor: bool) -> float:
    """The least change between two readings of a span that is more than the meter and the cranks differ by, 95 % sure.

    Currents differ from crank to crank, and with them what is lost; of the battery that is what lacks to its own volts.
    """
    priors, scale = case.desk.priors, case.desk.circuit.scale

    def spread(volts: float) -> float:
        lost = max(0.0, 12.6 * scale - volts) if floor else volts
        return float(np.hypot(np.hypot(priors.meter.volts, priors.meter.share * volts), priors.crank_change * lost))

    return 1.645 * float(np.hypot(spread(before or 0.0), spread(after or 0.0)))
