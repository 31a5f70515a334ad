"""A job at one moment with what its readings mean: the ground on which every answer stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from wizard.circuit.load import Heard
from wizard.circuit.map import PartChange
from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import Context, Evidence, Measurement
from wizard.diagnosis.faults import FaultModel, History
from wizard.diagnosis.finding import Awaited, Shown, find, straight_across
from wizard.diagnosis.planner import Reach
from wizard.walk.desk import Desk
from wizard.walk.events import OPEN, Complaint, ReadingTaken
from wizard.walk.flow import EACH_PART, IT_FAILED, NOT_SURE
from wizard.walk.state import JobState, Reading

# Cranks differ by no more than this many times the change from one to the next, and a meter's digits, while nothing
# comes and goes: six standard deviations hold the range of some ten cranks. Common practice, no source.
_CRANKS_APART, _METERS_APART_V = 6.0, 0.03
# Against the current by more than this, in a 12 V system, is a pair of swapped leads and not the meter's last digit.
_SWAPPED_V = 0.02


@dataclass(frozen=True)
class Taken:
    """A standing reading as a measurement along the current; `swapped` says that its sign had to be turned.

    Of several cranks that differ by more than currents do, the measurement is the one that shows the fault, and `away`
    the one without it.
    """

    reading: Reading
    measurement: Measurement
    swapped: bool
    away: Measurement | None = None


@dataclass(frozen=True)
class Case:
    """A job's readings of the circuit as it is now and the belief they lead to.

    `awaited` is the reading that has to show a part before it is named; `before` is the same case as it stood before
    the last repair, None when nothing was repaired.
    """

    desk: Desk
    state: JobState
    taken: tuple[Taken, ...]
    belief: Belief
    found: tuple[str, Shown] | None
    awaited: Awaited | None
    before: Case | None
    reach: Reach

    @classmethod
    def of(cls, desk: Desk, state: JobState, fitted: Mapping[str, PartChange] | None = None) -> Case:
        """Judge the readings since the last repair, and the ones before it likewise.

        `fitted` takes the place of what the repairs so far put in. What was read before is judged against the same
        circuit: the cable that was there then has to it an excess, which its replacement put right.
        """
        desk = desk.with_fitted(state.fitted if fitted is None else fitted)
        complaint = state.complaint or Complaint(circuit=desk.circuit.map.circuit)
        told = complaint.history
        history = History(
            frozenset(told.recently_replaced),
            tuple(told.helped_by),
            told.woke_up_when_touched,
            complaint.intermittent,
        )
        model = desk.fault_model(history)
        standing = tuple(_placed(_along_the_current(model, reading), model, complaint) for reading in state.standing)
        taken = tuple(t for t in standing if t.reading.repairs_before == len(state.repairs))
        steps = desk.flow.steps
        told = [
            name
            for name in sorted(state.answers)
            if name in steps and (name in state.answered_now or _told_after_repair(desk, state, name))
        ]
        answered = [
            steps[name].evidence_for(state.answers[name])
            for name in told
            if steps[name].allows(state.answers[name], desk.circuit.parts)
        ]
        tables = tuple(table for table in answered if table is not None)
        measurements = tuple(m for t in standing for m in (t.measurement, t.away) if m is not None)
        belief = desk.belief(
            model,
            Evidence(
                measurements,
                symptom_of(desk, state),
                complaint.intermittent,
                tables,
                state.repairs,
                away_now=complaint.intermittent and not acts_up(desk, state),
            ),
        )
        last = taken[-1].measurement.what if taken else Observable("resting")
        reach = Reach(frozenset({last.red, last.black} - {""}), state.out_of_reach, complaint.clamp_meter)
        before = cls.of(desk, _before_repair(state)) if state.repairs else None
        found = find(belief, desk.limits)
        awaited = straight_across(belief, reach, *found) if found else None
        return cls(desk, state, taken, belief, None if awaited else found, awaited, before, reach)

    def has(self, state: str, red: str, black: str) -> Taken | None:
        """The latest standing reading of a span, whichever way round."""
        for taken in reversed(self.taken):
            what = taken.measurement.what
            if what.state == state and not what.clamp and {what.red, what.black} == {red, black}:
                return taken
        return None


def symptom_of(desk: Desk, state: JobState) -> Heard | None:
    """The complaint's symptom: the answer at a step that asks for it, else what the job was opened with."""
    for name, step in desk.flow.steps.items():
        choice = state.answers.get(name)
        if step.field == "symptom" and choice and choice != NOT_SURE:
            return Heard(choice)
    return state.complaint.symptom if state.complaint else None


def _before_repair(state: JobState) -> JobState:
    done = len(state.repairs)
    earlier = tuple(r for r in state.readings if r.repairs_before < done)
    return replace(
        state,
        readings=earlier,
        repairs=state.repairs[:-1],
        fits=state.fits[:-1],
        repaired_on=state.repaired_on[:-1],
        answered_now=frozenset(state.answers) - state.answered_now,
        jumped_to=None,
    )


def _told_after_repair(desk: Desk, state: JobState, name: str) -> bool:
    """Whether an answer from a job's file is of a step that comes after a repair: it is of the circuit as it is now."""
    return bool(state.repairs) and name in state.answered_in_file and desk.flow.steps[name].when == "repaired"


def acts_up(desk: Desk, state: JobState) -> bool:
    """Whether a fault that comes and goes is there now: by what was last said of it, made it show itself or read."""
    told = [(state.fails_told_at, state.fails_now)] if state.fails_told_at is not None else []
    loaded = [reading for reading in state.current if reading.taken.state == "cranking"]
    if loaded and (loaded[-1].taken.acting_up is not None or _comes_and_goes(desk, loaded[-1].taken)):
        told.append((loaded[-1].at, loaded[-1].taken.acting_up is not False))
    steps = desk.flow.steps
    for name in state.answered_now:
        step = steps.get(name)
        if step and step.when == "intermittent" and step.outcome_of(state.answers[name]) in (EACH_PART, IT_FAILED):
            told.append((state.answered_at[name], True))
    return max(told)[1] if told else False


def _placed(taken: Taken, model: FaultModel, complaint: Complaint) -> Taken:
    """The reading in its context: a fault that comes and goes counts as away unless the reading shows or says it."""
    told, m, repairs = taken.reading.taken, taken.measurement, taken.reading.repairs_before
    there, away = Context(repairs), Context(repairs, away=complaint.intermittent)
    if complaint.intermittent and m.value is not None and _comes_and_goes(model, told):
        turn = -1.0 if m.value * float(told.value) < 0 else 1.0
        sound = model.healthy_volts(m.what)
        ends = [turn * end for end in (told.minimum, told.maximum) if end is not None]
        near, far = sorted(ends, key=lambda value: abs(value - sound))
        shows = replace(m, value=far, context=there, crank=None)
        return replace(taken, measurement=shows, away=replace(m, value=near, context=away, crank=None))
    return replace(taken, measurement=replace(m, context=there if told.acting_up else away))


def _comes_and_goes(known: FaultModel | Desk, told: ReadingTaken) -> bool:
    """Whether the least and the most of several cranks are further apart than their currents make them."""
    if told.minimum is None or told.maximum is None or told.clamp or told.state != "cranking":
        return False
    most = max(abs(told.minimum), abs(told.maximum))
    current = _CRANKS_APART * known.priors.crank_change * most
    return told.maximum - told.minimum > _METERS_APART_V * known.circuit.scale + current


def _along_the_current(model: FaultModel, reading: Reading) -> Taken:
    taken = reading.taken
    what = Observable(taken.state, taken.red or "", taken.black or "", taken.clamp or "")
    value = None if taken.value == OPEN else float(taken.value)
    if what.clamp:
        amps = abs(value or 0.0)
        return Taken(reading, Measurement(reading.number, what, amps, taken.crank), False)
    if not model.circuit.one_way(what.red, what.black):
        return Taken(reading, Measurement(reading.number, what, value, taken.crank), False)
    if model.healthy_volts(what) < -1e-9:
        what = Observable(what.state, what.black, what.red)
        value = None if value is None else -value
    swapped = value is not None and value < -_SWAPPED_V * model.circuit.scale
    if swapped and value is not None:
        value = -value
    return Taken(reading, Measurement(reading.number, what, value, taken.crank), swapped)
