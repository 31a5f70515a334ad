"""How the next test compares: with the exact best on small maps, and with two plain habits on the shipped ones.

Run with `python -m tests.benchmarks.planning [words]`; words pick tables whose name has one of them. Every fault is
single, every meter is true and every question is answered truly. Means are weighted by how likely the faults are
before anything is measured. The habits end on the same ground as the wizard: one repair is likely enough, and the
readings show it directly.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from tests.vehicles import SHOWS_V, desk, most_moved_v, read
from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.map import CircuitMap, Side
from wizard.circuit.network import BATTERY, MOTOR, Floats, Observable
from wizard.diagnosis.faults import NEW_STARTER, NO_REPAIR, Cell, History, Site, sites_of
from wizard.diagnosis.planner import Reach, candidates, minutes_for
from wizard.diagnosis.prediction import SOURCE_V
from wizard.diagnosis.yardsticks import BestPlan, Puzzle
from wizard.files.shelf import circuit_names
from wizard.walk.assessment import Next
from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, Complaint, Event, Started
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess

# Small maps: a shipped map and the parts of it that may fail; the rest is joined up or sound.
SMALL = {
    "positive side, battery near": (
        "front-battery",
        ("positive-clamp", "positive-cable", "b-stud-joint", "solenoid-contacts", "ground-cable"),
    ),
    "both sides, battery near": (
        "front-battery",
        ("positive-cable", "solenoid-contacts", "starter-mounting", "ground-cable", "negative-clamp"),
    ),
    "isolator and long cable": (
        "remote-battery",
        ("rear-cable", "isolator", "isolator-load-joint", "long-cable", "solenoid-contacts", "body"),
    ),
    "ground by way of the body": (
        "remote-battery",
        ("long-cable", "solenoid-contacts", "engine-strap-joint", "body", "ground-cable", "negative-clamp"),
    ),
}
# One severity in so many stands for its neighbours.
_EVERY = 5
# Readings less than this apart are not told from one another: volts, and tens of amps.
_APART = 0.02
# A span that loses this much more than a sound one is worth following up.
_SUSPICIOUS_V = 0.1
_MOST_READINGS = 40
# A battery below these is at fault, at rest and while cranking; common practice, no source.
_CHARGED_V, _HOLDS_V = 12.2, 9.6


@dataclass(frozen=True)
class Vehicle:
    """One vehicle with one fault, and how likely it is among the others."""

    label: str
    condition: Condition
    repair: str
    odds: float
    site: Site
    heard: Heard

    def answer(self, step: str) -> str:
        """What its technician sees or hears at a step that asks."""
        if step == "bench-test":
            return "fails-the-test" if self.repair == NEW_STARTER else "passes-the-test"
        if step == "turn-by-hand":
            return "hard-to-turn" if self.site.family == "engine-dragging" else "turns-freely"
        return self.heard


def vehicles(at: Desk) -> list[Vehicle]:
    """Every single fault that has to be found, at every severity, with its odds."""
    found: list[Vehicle] = []
    for site in sites_of(at.circuit, at.priors, History()):
        cells = [cell for cell in site.fine if _has_to_be_found(at.circuit, site, _condition(at.circuit, site, cell))]
        breaks = [[cell] for cell in cells if cell.is_open]
        mended = [cell for cell in cells if not cell.is_open]
        for group in [*breaks, *(mended[first : first + _EVERY] for first in range(0, len(mended), _EVERY))]:
            cell = group[len(group) // 2]
            condition = _condition(at.circuit, site, cell)
            odds = site.weight * sum(cell.weight for cell in group)
            heard = operate(at.circuit, condition, [])[1]
            label = f"{site.part} {site.fault}, {cell.added_ohm * 1e3:.3g} mohm"
            found.append(Vehicle(label, condition, site.repair, odds, site, heard))
    return found


def of_parts(at: Desk, fleet: Sequence[Vehicle]) -> list[Vehicle]:
    """Those whose fault is a part of the map, not its battery, starter, coil or engine."""
    return [vehicle for vehicle in fleet if vehicle.site.part in at.circuit.parts]


def _has_to_be_found(circuit: Circuit, site: Site, condition: Condition) -> bool:
    posts = Observable("cranking", circuit.map.battery.positive, circuit.map.battery.negative)
    (volts,), heard, _ = operate(circuit, condition, [posts])
    if site.part == "battery":
        return condition.source_v < _CHARGED_V * circuit.scale or volts < _HOLDS_V * circuit.scale
    if site.part not in circuit.parts:
        return heard is not Heard.CRANKS_NORMALLY
    if circuit.parts[site.part].part.side is Side.CONTROL:
        return heard is Heard.NO_CLICK
    return most_moved_v(circuit, condition) > SHOWS_V


def _condition(circuit: Circuit, site: Site, cell: Cell) -> Condition:
    """One severity of a fault as a vehicle."""
    ohm = np.inf if cell.is_open else cell.added_ohm
    return Condition(
        {site.part: ohm} if site.part in circuit.parts else {},
        source_v=SOURCE_V * circuit.scale * cell.source_share,
        battery_ohm=circuit.battery_ohm + (ohm if site.branch == BATTERY else 0.0),
        demand_a=circuit.demand_a[1] * cell.demand,
        rotor_ratio=1.0 + (ohm / circuit.rotor_ohm if site.branch == MOTOR else 0.0),
        coil_works=cell.coil_works,
    )


@dataclass(frozen=True)
class Pursued:
    """What it took to a named repair, `no-repair` where none was named; `helped` where the habit alone did not do."""

    repair: str
    readings: int
    minutes: float
    helped: bool


# A habit yields the next reading and is sent the volts that this span loses beyond a sound circuit's.
Habit = Generator[Observable, float, None]


def pursue(at: Desk, vehicle: Vehicle, habit: Habit | None = None, plan: Plan = "fastest") -> Pursued:
    """Read until the readings are enough for a finding: what the habit says, and at its end what the wizard says."""
    complaint = Complaint(circuit=at.circuit.map.circuit, symptom=vehicle.heard)
    log: list[Event] = [Started(title=vehicle.label, complaint=complaint)]
    readings, minutes, what, helped = 0, 0.0, None, False
    if habit is not None:
        what = next(habit)
    while readings < _MOST_READINGS:
        case = Case.of(at, fold(log))
        if case.found is not None:
            return Pursued(case.found[0], readings, minutes, helped)
        if what is not None:
            asked = Next(kind="measure", why="", state=what.state, red=what.red, black=what.black)
            minutes += minutes_for(at.circuit, what, case.reach)
        else:
            helped = habit is not None
            asked = assess(at, case.state, plan, cautions_read=True).next
            minutes += asked.minutes or 0.0
        if asked.kind == "finish":
            break
        if asked.kind == "ask":
            assert asked.step is not None
            log.append(Answered(step=asked.step, choice=vehicle.answer(asked.step)))
            continue
        taken = read(at.circuit, vehicle.condition, asked)
        log.append(taken)
        readings += 1
        if habit is not None and what is not None:
            assert isinstance(taken.value, float)
            try:
                what = habit.send(taken.value - case.belief.model.healthy_volts(what))
            except StopIteration:
                what = None
    return Pursued(NO_REPAIR, readings, minutes, helped)


@dataclass(frozen=True)
class Mean:
    """Weighted means over vehicles, the shares that ended with their own repair and with help, the most readings."""

    readings: float
    minutes: float
    right: float
    helped: float
    most: int


def mean_of(fleet: Sequence[Vehicle], how: Callable[[Vehicle], Pursued]) -> Mean:
    """Pursue every vehicle's fault and weigh what it took."""
    done = [how(vehicle) for vehicle in fleet]
    share = np.array([vehicle.odds for vehicle in fleet])
    share /= share.sum()
    return Mean(
        float(share @ [one.readings for one in done]),
        float(share @ [one.minutes for one in done]),
        float(share @ [one.repair == vehicle.repair for one, vehicle in zip(done, fleet, strict=True)]),
        float(share @ [one.helped for one in done]),
        max(one.readings for one in done),
    )


# --- two plain habits --------------------------------------------------------------------------------------------


def _runs(circuit: Circuit, heard: Heard) -> list[tuple[str, ...]]:
    """Points of each run in the order of the habits, each from its fixed lead at the battery to its starter end.

    A starter that stays silent sends anyone to the control side first.
    """
    positive, contacts, ground, control = (
        circuit.points_along(*circuit.runs[run]) for run in ("positive", "contacts", "ground", "control")
    )
    power = [positive, contacts, ground[::-1]]
    return [control, *power] if heard is Heard.NO_CLICK else [*power, control]


def _span(circuit: Circuit, run: Sequence[str], end: int) -> Observable:
    ends = (run[0], run[end])
    return Observable("cranking", *(ends[::-1] if run[0] == circuit.map.battery.negative else ends))


def _battery(circuit: Circuit) -> Iterator[Observable]:
    posts = (circuit.map.battery.positive, circuit.map.battery.negative)
    yield Observable("resting", *posts)
    yield Observable("cranking", *posts)


def point_by_point(circuit: Circuit, heard: Heard, *, battery: bool) -> Habit:
    """Read each run whole; where it loses too much, move the lead from the starter towards the battery.

    The way of US Army TM 5-3820-256-24-4, cranking circuit: until the reading falls noticeably.
    """
    if battery:
        yield from _battery(circuit)
    for run in _runs(circuit, heard):
        for end in range(len(run) - 1, 0, -1):
            if (yield _span(circuit, run, end)) < _SUSPICIOUS_V:
                break


def halving(circuit: Circuit, heard: Heard, *, battery: bool) -> Habit:
    """Read each run whole; where it loses too much, move the lead to the middle of the points that are left."""
    if battery:
        yield from _battery(circuit)
    for run in _runs(circuit, heard):
        sound, bad = 0, len(run) - 1
        if (yield _span(circuit, run, bad)) < _SUSPICIOUS_V:
            continue
        while bad - sound > 1:
            middle = (sound + bad) // 2
            if (yield _span(circuit, run, middle)) < _SUSPICIOUS_V:
                sound = middle
            else:
                bad = middle


HABITS: dict[str, Callable[..., Habit]] = {"one point at a time": point_by_point, "plain halving": halving}


# --- small maps --------------------------------------------------------------------------------------------------


def small_map(circuit: Circuit, keep: Sequence[str]) -> CircuitMap:
    """A shipped map with only these parts; others are gone, and where they were in the way their ends are one point.

    The main contacts and one part of the control side stay, sound where they are not kept.
    """
    whole = circuit.map
    control = circuit.path(*circuit.runs["control"], control=True) or ()
    switch = control[-1]
    way = {*circuit.main_loop, *control}
    stay = [name for name in whole.parts if name in {*keep, whole.solenoid.contacts, switch}]
    ends = {
        whole.battery.positive, whole.battery.negative, whole.starter.positive, whole.starter.negative,
        whole.solenoid.coil[0],
    }  # fmt: skip
    joined = {point: point for point in whole.points}
    for name, part in whole.parts.items():
        if name in way and name not in stay:
            first, second = (joined[point] for point in part.between)
            kept, gone = (second, first) if second in ends else (first, second)
            joined = {point: kept if end == gone else end for point, end in joined.items()}
    data = whole.model_dump(exclude_none=True)
    parts = {
        name: {
            **data["parts"][name],
            "between": [joined[point] for point in whole.parts[name].between],
            **({} if name in keep else {"fault_weight": 0.0}),
        }
        for name in stay
    }
    points = {point for part in parts.values() for point in part["between"]}
    repairs = {part["repair"] for part in parts.values()}
    return CircuitMap.model_validate(
        {
            **data,
            "parts": parts,
            "points": {name: point for name, point in data["points"].items() if name in points},
            "repairs": {name: repair for name, repair in data["repairs"].items() if name in repairs},
        }
    )


def small_desk(name: str) -> Desk:
    """The desk of a small map, which knows what the exact plan knows: one of the parts fails, every reading is true."""
    shipped, keep = SMALL[name]
    at = desk(shipped)
    told = {
        "families": dict.fromkeys(at.priors.families, 1e-4),
        "two_faults": 0.0,
        "wrong_reading": 1e-6,
    }
    circuit = Circuit.of(small_map(at.circuit, keep))
    return Desk(circuit, at.flow, at.limits, at.cautions, at.priors.model_copy(update=told))


def puzzle_of(circuit: Circuit, fleet: Sequence[Vehicle]) -> tuple[Puzzle, list[Observable]]:
    """A small map as the exact plan sees it, and its tests."""
    tests = candidates(circuit, Reach(), frozenset(circuit.points))
    values = np.array([operate(circuit, vehicle.condition, tests)[0] for vehicle in fleet]).T
    values[[bool(test.clamp) for test in tests]] /= 10.0
    minutes = [
        [minutes_for(circuit, test, Reach(frozenset({before.red, before.black} - {""}))) for test in tests]
        for before in (*tests, Observable("resting"))
    ]
    repairs = list(dict.fromkeys(vehicle.repair for vehicle in fleet))
    puzzle = Puzzle(
        np.array([vehicle.odds for vehicle in fleet]),
        np.array([repairs.index(vehicle.repair) for vehicle in fleet]),
        np.array([_told_apart(row) for row in values]),
        np.array(minutes),
        [_showing(circuit, vehicle, tests) for vehicle in fleet],
    )
    return puzzle, tests


def _told_apart(values: Floats) -> list[int]:
    order = np.argsort(values)
    labels = np.empty(len(values), dtype=int)
    labels[order] = np.concatenate([[0], np.cumsum(np.diff(values[order]) > _APART)])
    return labels.tolist()


def _showing(circuit: Circuit, vehicle: Vehicle, tests: Sequence[Observable]) -> list[frozenset[int]]:
    """Sets of tests that show a part: one across it, or two from one point to its ends where nothing is bought."""
    first, second = circuit.parts[vehicle.site.part].part.between
    numbers = {
        frozenset((test.red, test.black)): number
        for number, test in enumerate(tests)
        if test.state == "cranking" and not test.clamp
    }
    sets = [frozenset({numbers[frozenset((first, second))]})]
    if circuit.repairs[vehicle.repair].fits_a_part:
        return sets
    for point in circuit.points:
        pair = {frozenset((point, first)), frozenset((point, second))}
        if pair <= numbers.keys():
            sets.append(frozenset(numbers[span] for span in pair))
    return sets


def best_minutes(circuit: Circuit, fleet: Sequence[Vehicle]) -> tuple[float, list[list[Observable]]]:
    """Exact least mean minutes to the repair, each complaint being what the vehicle does; and the tests for each."""
    puzzle, tests = puzzle_of(circuit, fleet)
    plan = BestPlan(puzzle)
    total, paths = 0.0, [list[Observable]() for _ in fleet]
    for heard in dict.fromkeys(vehicle.heard for vehicle in fleet):
        group = [number for number, vehicle in enumerate(fleet) if vehicle.heard is heard]
        total += plan.minutes(group) * float(puzzle.odds[group].sum())
        for number in group:
            paths[number] = [tests[test] for test in plan.path(number, group)]
    return total / float(puzzle.odds.sum()), paths


# --- the tables --------------------------------------------------------------------------------------------------


def small_table(names: Sequence[str]) -> None:
    print(f"{'small map':<30}{'faults':>8}{'exact min':>11}{'wizard min':>12}{'ratio':>8}{'right':>8}{'s':>6}")
    for name in names:
        began = time.perf_counter()
        at = small_desk(name)
        fleet = of_parts(at, vehicles(at))
        exact, _ = best_minutes(at.circuit, fleet)
        mine = mean_of(fleet, partial(pursue, at))
        spent = time.perf_counter() - began
        print(
            f"{name:<30}{len(fleet):>8}{exact:>11.2f}{mine.minutes:>12.2f}{mine.minutes / exact:>8.3f}"
            f"{mine.right:>8.1%}{spent:>6.0f}"
        )


def shipped_table(name: str) -> None:
    """Every single fault by both plans and both habits, and the faults of parts with the battery known to be sound."""
    at = desk(name)
    everything = vehicles(at)
    parts = of_parts(at, everything)
    print(f"\n{name:<44}{'readings':>9}{'minutes':>9}{'most':>6}{'right':>8}{'helped':>8}")
    rows = {f"wizard, {plan}": mean_of(everything, partial(pursue, at, plan=plan)) for plan in ("fastest", "walk")}
    rows |= {habit: mean_of(everything, partial(_by, habit, at, battery=True)) for habit in HABITS}
    rows |= {f"{habit}, battery not read": mean_of(parts, partial(_by, habit, at, battery=False)) for habit in HABITS}
    rows["wizard, fastest, faults of parts"] = mean_of(parts, partial(pursue, at))
    for label, row in rows.items():
        print(f"{label:<44}{row.readings:>9.2f}{row.minutes:>9.2f}{row.most:>6}{row.right:>8.1%}{row.helped:>8.1%}")
    mine = rows["wizard, fastest"]
    readings = rows["one point at a time"].readings / mine.readings
    minutes = rows["plain halving"].minutes / mine.minutes
    print(f"{'one point at a time / wizard, readings':<44}{readings:>9.2f}   aim 1.8 or more")
    print(f"{'plain halving / wizard, minutes':<44}{minutes:>9.2f}   aim above 1")


def _by(habit: str, at: Desk, vehicle: Vehicle, *, battery: bool) -> Pursued:
    return pursue(at, vehicle, HABITS[habit](at.circuit, vehicle.heard, battery=battery))


def main() -> None:
    words = sys.argv[1:]

    def picked(name: str) -> bool:
        return not words or any(word in name for word in words)

    small = [name for name in SMALL if picked(name)]
    if small:
        small_table(small)
    for name in circuit_names():
        if picked(name):
            shipped_table(name)


if __name__ == "__main__":
    main()
