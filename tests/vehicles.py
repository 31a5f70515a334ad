"""Simulated vehicles with one fault each, and a technician who does what the wizard says and nothing more."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.map import Side
from wizard.circuit.network import Observable
from wizard.diagnosis.faults import NO_REPAIR
from wizard.files import shelf
from wizard.walk.assessment import Assessment, Next
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, Complaint, Event, OutOfReach, ReadingTaken, Repaired, Started
from wizard.walk.flow import NOT_SURE
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess

# The least move of a span that a fault must show by before it has to be found.
SHOWS_V = 0.150
# Excess resistance beside the least that must be found.
_TIMES_THE_LEAST = (1.02, 1.3, 2.0, 5.0, 20.0, np.inf)
# No more events than this before a walk counts as going round in circles.
_MOST_EVENTS = 60


@dataclass(frozen=True)
class Fault:
    """One vehicle: its true condition, the repair that puts it right, and answers without which it can't be told."""

    label: str
    condition: Condition
    repair: str
    told: Mapping[str, str] = field(default_factory=dict[str, str])


@dataclass(frozen=True)
class Followed:
    """What became of a job: the repair that was found or `no-repair`, and what it took to find it."""

    repair: str
    readings: int
    minutes: float
    log: tuple[Event, ...]
    assessment: Assessment


@cache
def desk(circuit: str) -> Desk:
    """The desk of a shipped map as it is, at 20 C."""
    return shelf.desk_for(Complaint(circuit=circuit), "no-crank-clicks", Path())


def forget(at: Desk) -> None:
    """Have a desk work out again what it was asked before, for whoever measures how long that takes."""
    at._beliefs.clear()


def most_moved_v(circuit: Circuit, condition: Condition) -> float:
    """The most that any span between two points differs, while cranking, from the healthy circuit's, in volts."""
    end = circuit.map.battery.negative
    points = [Observable("cranking", point, end) for point in circuit.points if point != end]
    healthy = Condition(demand_a=condition.demand_a)
    moved = [*(operate(circuit, condition, points)[0] - operate(circuit, healthy, points)[0]), 0.0]
    return float(max(moved) - min(moved))


def _has_to_be_found(circuit: Circuit, part: str, condition: Condition) -> bool:
    """On the control side a fault has to be found once the solenoid can't pull in."""
    if circuit.parts[part].part.side is Side.CONTROL:
        return operate(circuit, condition, [])[1] is Heard.NO_CLICK
    return most_moved_v(circuit, condition) > SHOWS_V


def least_excess_ohm(circuit: Circuit, part: str) -> float | None:
    """The least excess resistance of a part that has to be found; None where even a break shows too little."""

    def found(ohm: float) -> bool:
        condition = Condition({part: ohm}, demand_a=circuit.demand_a[1])
        return _has_to_be_found(circuit, part, condition)

    if not found(np.inf):
        return None
    low, high = 1e-5, 1e3
    while high / low > 1.01:
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if found(middle) else (middle, high)
    return high


def parts_that_show() -> list[tuple[str, str]]:
    """Every part of the shipped maps, by map, whose break at least has to be found."""
    return [
        (name, part)
        for name in shelf.circuit_names()
        for circuit in [desk(name).circuit]
        for part in circuit.parts
        if _has_to_be_found(circuit, part, Condition({part: np.inf}, demand_a=circuit.demand_a[1]))
    ]


def part_faults(circuit: Circuit) -> Iterator[Fault]:
    """Every part from just bad enough to be found up to open."""
    for name, passive in circuit.parts.items():
        least = least_excess_ohm(circuit, name)
        for times in _TIMES_THE_LEAST if least is not None else ():
            ohm = times * (least or 0.0)
            label = f"{name} {'open' if np.isinf(ohm) else f'{ohm * 1e3:.3g} mohm'}"
            yield Fault(label, Condition({name: ohm}, demand_a=circuit.demand_a[1]), passive.part.repair)


def family_faults(circuit: Circuit) -> Iterator[Fault]:
    """Battery, starter, engine and coil at fault. Sound and hand tell what volts alone can't, so these are answered."""
    sound = Condition(demand_a=circuit.demand_a[1])
    for volts, ohm in ((11.9, 0.012), (11.5, 0.03), (11.0, 0.05)):
        flat = replace(sound, source_v=volts, battery_ohm=ohm)
        yield Fault(f"battery discharged to {volts} V", flat, "charge-battery")
    for times in (5, 8, 15):
        worn = replace(sound, battery_ohm=times * circuit.battery_ohm)
        yield Fault(f"battery worn, {times} times its resistance", worn, "replace-battery")
    still = {"heard-now": "one-click"}
    yield Fault("starter open", replace(sound, rotor_ratio=np.inf), "replace-starter", still)
    for times in (3, 6):
        yield Fault(f"starter worn, rotor x {times}", replace(sound, rotor_ratio=times), "replace-starter", still)
    shorted = replace(sound, rotor_ratio=0.45, demand_a=10 * sound.demand_a)
    yield Fault("starter shorted", shorted, "replace-starter", {**still, "turn-by-hand": "turns-freely"})
    for times in (2.3, 2.8):
        drags = replace(sound, demand_a=times * sound.demand_a)
        free, hard = {"turn-by-hand": "turns-freely"}, {"turn-by-hand": "hard-to-turn"}
        yield Fault(f"starter drags, current x {times}", drags, "replace-starter", free)
        yield Fault(f"engine drags, current x {times}", drags, "free-the-engine", hard)
    solenoid = circuit.parts[circuit.map.solenoid.contacts].part.repair
    yield Fault("coil open", replace(sound, coil_works=False), solenoid, still)


def healthy(circuit: Circuit) -> Iterator[Fault]:
    """Sound vehicles over the range of cranking currents that the map calls healthy."""
    for amps in circuit.demand_a:
        yield Fault(f"healthy, {amps:.0f} A", Condition(demand_a=amps), NO_REPAIR)


def single_faults(circuit: Circuit) -> list[Fault]:
    """Every vehicle that the wizard must get right."""
    return [*healthy(circuit), *part_faults(circuit), *family_faults(circuit)]


def read(circuit: Circuit, condition: Condition, asked: Next) -> ReadingTaken:
    """What a perfect meter shows where the wizard asks for it."""
    assert asked.state is not None
    what = Observable(asked.state, asked.red or "", asked.black or "", asked.clamp or "")
    value = float(operate(circuit, condition, [what])[0][0])
    return ReadingTaken(state=asked.state, red=asked.red, black=asked.black, clamp=asked.clamp, value=value)


def follow(
    desk: Desk,
    fault: Fault,
    plan: Plan,
    symptom: Heard | None = None,
    *,
    out_of_reach: frozenset[str] = frozenset(),
) -> Followed:
    """Do what the wizard says until it names a repair or finishes.

    Every question that the fault does not need is answered `not-sure`; `symptom` is the customer's word, left out it
    is what the vehicle does.
    """
    circuit = desk.circuit
    heard = operate(circuit, fault.condition, [])[1]
    complaint = Complaint(circuit=circuit.map.circuit, symptom=symptom or heard)
    log: list[Event] = [Started(title=fault.label, complaint=complaint)]
    log += [OutOfReach(point=point) for point in sorted(out_of_reach)]
    readings, minutes = 0, 0.0
    while len(log) < _MOST_EVENTS:
        answer = assess(desk, fold(log), plan, cautions_read=True)
        asked = answer.next
        if answer.finding is not None:
            return Followed(answer.finding.repair, readings, minutes, tuple(log), answer)
        if asked.kind == "finish":
            return Followed(NO_REPAIR, readings, minutes, tuple(log), answer)
        minutes += asked.minutes or 0.0
        if asked.kind == "ask":
            assert asked.step is not None
            log.append(Answered(step=asked.step, choice=fault.told.get(asked.step, NOT_SURE)))
        else:
            assert asked.kind == "measure", asked
            readings += 1
            log.append(read(circuit, fault.condition, asked))
    raise AssertionError(f"{fault.label}: no end after {_MOST_EVENTS} events")


def prove(desk: Desk, found: Followed, plan: Plan) -> Next:
    """Do the repair that was found on this vehicle, measure again as told, and say what comes at the end."""
    circuit = desk.circuit
    sound = Condition(demand_a=circuit.demand_a[1])
    log = list(found.log)
    while len(log) < _MOST_EVENTS:
        asked = assess(desk, fold(log), plan, cautions_read=True).next
        if asked.kind == "finish":
            return asked
        if asked.kind == "repair":
            assert asked.repair is not None
            log.append(Repaired(repair=asked.repair))
        elif asked.kind == "ask":
            assert asked.step is not None
            log.append(Answered(step=asked.step, choice=NOT_SURE))
        else:
            log.append(read(circuit, sound, asked))
    raise AssertionError(f"no end after {_MOST_EVENTS} events")
