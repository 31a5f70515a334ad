"""Where a job stands after its last repair: proved, not proved yet, no better, or with more to find."""

from __future__ import annotations

from wizard.circuit.network import Observable
from wizard.diagnosis.finding import Drop
from wizard.quantities import capitalised, show_amps, show_volts
from wizard.walk.asking import Asking
from wizard.walk.assessment import Standing
from wizard.walk.case import Case
from wizard.walk.retest import did_not_help, earlier_reads, helped_some, proved, reads, repaired_span

# After a repair that helped, the job goes on while something is still wrong with at least these odds.
LEFT_OVER = 0.25


def standing(case: Case) -> Standing | None:
    """Where the job stands, and in words what the last repair came to; None while nothing was repaired."""
    if case.before is None:
        return None
    asking = Asking(case)
    done = f"{capitalised(case.desk.circuit.repairs[case.state.repairs[-1]].label)} was done"
    if did_not_help(case):
        return Standing(stands="did-not-help", told=_no_help(case, done))
    if asking.still_fails():
        told = f"{done}, and it still does what it did: something else is wrong."
        return Standing(stands="did-not-help", told=told)
    if not proved(case):
        return Standing(stands="not-proved", told=f"{done} and is not proved yet: measure its spans again.")
    if case.found is not None or asking.remaining() >= LEFT_OVER:
        return Standing(stands="fault-left", told=f"{done} and helped, and there is another fault.")
    if uncounted := asking.uncounted():
        return Standing(stands="to-count", told=f"{done} and its readings are as they should be. {uncounted}")
    return Standing(stands="proved", told=f"{done} and is proved.")


def _no_help(case: Case, done: str) -> str:
    """That the last repair did not help, with what its span read before the repairs and after each."""
    times = case.state.repairs.count(case.state.repairs[-1])
    often = {1: "", 2: " twice"}.get(times, f" {times} times")
    enough = " enough" if helped_some(case) else ""
    span = repaired_span(case)
    assert span is not None
    what, points = span[0], case.desk.circuit.map.points
    if what.clamp:
        where = f"the clamp around the {case.desk.circuit.parts[what.clamp].part.label}"
    else:
        where = f"{points[what.red].label} to {points[what.black].label}"
    state = "with start held" if what.state == "cranking" else "with everything off"
    read = {**earlier_reads(case, what), len(case.state.repairs): reads(case, what)}
    told = ", ".join(f"{_value(what, drop)} {_when(number)}" for number, drop in sorted(read.items()))
    return f"{done}{often} and did not help{enough}: {where}, {state}, read {told}.{_allowed(case, what)}"


def _when(repairs: int) -> str:
    return f"after repair {repairs}" if repairs else "before any repair"


def _value(what: Observable, drop: Drop) -> str:
    if drop.volts is None:
        return "open"
    return show_amps(drop.volts) if what.clamp else show_volts(drop.volts)


def _allowed(case: Case, what: Observable) -> str:
    if what.clamp:
        return ""
    limits, circuit = case.desk.limits, case.desk.circuit
    limit, _ = limits.judge(circuit, what.state, what.red, what.black, 0.0)
    if limit is None:
        return ""
    wants = "wants at least" if limits.floor_row(circuit, what.state, what.red, what.black) else "allows"
    return f" Practice {wants} {show_volts(limit)}."
