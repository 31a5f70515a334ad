"""How often the wizard's statements are true, on vehicles drawn from its own priors and walked to their end.

Run with `python -m tests.benchmarks.calibration --jobs 2000`. Every vehicle has a fault, a pair or none as often as the
priors say; the tolerance of every part, the meter's noise and rounding, a change of current from crank to crank, a
customer and a technician who mishear as often as the tables say, and, with `--wrong`, readings that are wrong. With
`--intermittent` the faults come and go: they are there in some cranks, marked where they can be heard.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.random import Generator

from tests.benchmarks.hypotheses import Rows
from tests.vehicles import desk
from wizard.circuit.load import HEARD, Condition, Heard, operate
from wizard.circuit.map import Side
from wizard.circuit.network import OPEN_OHM, Observable
from wizard.diagnosis.faults import (
    MATERIAL_CONTROL_V,
    MATERIAL_V,
    NO_REPAIR,
    SOURCE_SPREAD,
    FaultModel,
    History,
    evidence_weight,
    site_span,
)
from wizard.diagnosis.likelihood import TOLD, WRONG_SHOWS_NOTHING
from wizard.diagnosis.prediction import (
    BATTERY_SPREAD,
    GONE,
    KEY_ON_A,
    MODEL_SHARE,
    ROTOR_SPREAD,
    SAME,
    SOURCE_V,
    TRACE,
)
from wizard.walk.assessment import Next
from wizard.walk.desk import Desk
from wizard.walk.events import Answered, Complaint, Event, ReadingTaken, Repaired, Started
from wizard.walk.flow import EACH_PART, IT_FAILED, NOT_SURE
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess

# Repairs of what has no drop of its own.
_NO_DROP = frozenset(["replace-starter", "free-the-engine"])
# No more events than this before a walk counts as going round in circles.
_MOST_EVENTS = 60
# Of faults that come and go: how often they are there, from and to; how often they stay as they are from one crank to
# the next; and for how many cranks once they were made to show themselves. Invented.
_THERE, _STAYS, _KEPT = (0.05, 0.6), 0.8, 8
NO_CHANGE = "no-change"
# An engine that does not break away asks for more than one that turns: how many times as much, from and to. Common
# practice, no source.
_STANDS = (1.0, 3.0)


@dataclass(frozen=True)
class Fault:
    """One fault of a vehicle as drawn: its site by number, what it adds and the repair it calls for."""

    site: int
    repair: str
    added_ohm: float = 0.0
    source_v: float | None = None
    demand: float = 1.0
    coil_works: bool = True
    trace: Fault | None = None


@dataclass(frozen=True)
class Drawn:
    """One vehicle: its sound self and its faults. A repair leaves the sound self and the other faults.

    `left` is what is left of faults that come and go while they are away.
    """

    model: FaultModel
    sound: Condition
    faults: tuple[Fault, ...]
    left: int = SAME

    @classmethod
    def of(cls, model: FaultModel, chance: Generator, kind: str = "any") -> Drawn:
        """Draw a vehicle from the priors: `kind` is single, pair, healthy or any of these."""
        rows = Rows.of(model)
        number, last = np.arange(len(rows.prior)), rows.singles - 1
        own = {"single": number < last, "healthy": number == last, "pair": number > last, "any": number >= 0}[kind]
        row = int(chance.choice(len(number), p=rows.prior * own / (rows.prior * own).sum()))
        circuit, scale = model.circuit, model.circuit.scale
        tolerance = {n: p.ohm + p.spread_ohm * chance.standard_normal() for n, p in circuit.parts.items()}
        low, typical, high = circuit.demand_a
        spread = np.log(high / low) / (2 * 1.645)
        sound = Condition(
            ohm={name: max(ohm, 0.1 * circuit.parts[name].ohm) for name, ohm in tolerance.items()},
            source_v=SOURCE_V * scale + SOURCE_SPREAD * scale * chance.standard_normal(),
            battery_ohm=circuit.battery_ohm * max(0.1, 1.0 + BATTERY_SPREAD * chance.standard_normal()),
            demand_a=float(typical * np.exp(spread * chance.standard_normal())),
            rotor_ratio=max(0.3, 1.0 + ROTOR_SPREAD * chance.standard_normal()),
        )
        faults: list[Fault] = []
        for end in (0, 1):
            number = int(rows.site[row, end])
            if number < 0:
                continue
            site = model.sites[number]
            excess = _excess(float(rows.added[row, end]), float(rows.spread[row, end]), chance)
            source = float(rows.source_v[row] + rows.source_spread[row] * chance.standard_normal())
            faults.append(
                Fault(
                    number,
                    model.repairs[rows.own_repair[row, end]],
                    excess,
                    source if site.fault == "discharged" else None,
                    float(rows.demand[row]) if site.fault in ("dragging", "shorted") else 1.0,
                    site.part != "coil",
                )
            )
        if not model.history.comes_and_goes:
            return cls(model, sound, tuple(faults))
        shares = (model.priors.gone, model.priors.trace, 1.0 - model.priors.gone - model.priors.trace)
        faults = [replace(fault, trace=_trace(model, fault, chance)) for fault in faults]
        return cls(model, sound, tuple(faults), int(chance.choice((GONE, TRACE, SAME), p=shares)))

    @property
    def wanted(self) -> frozenset[str]:
        """Repairs that the vehicle needs."""
        return frozenset(fault.repair for fault in self.faults) - {NO_REPAIR}

    def repaired(self, repair: str) -> Drawn:
        """The vehicle once this repair was done."""
        left = tuple(f for f in self.faults if self.model.sites[f.site].repair != repair)
        return replace(self, faults=left)

    def shows(self, *, away: bool) -> tuple[Fault, ...]:
        """The faults as they are while they are away, or there."""
        if not away or self.left == SAME:
            return self.faults
        return tuple(f.trace for f in self.faults if f.trace is not None) if self.left == TRACE else ()

    def condition(self, *, away: bool = False) -> Condition:
        """The sound self with its faults."""
        now, circuit = self.sound, self.model.circuit
        excess: dict[str, float] = {}
        for fault in self.shows(away=away):
            site = self.model.sites[fault.site]
            if site.part in circuit.parts:
                excess[site.part] = np.inf if fault.added_ohm >= OPEN_OHM else fault.added_ohm
            elif site.part == "battery":
                now = replace(now, battery_ohm=(now.battery_ohm or 0.0) + fault.added_ohm)
            elif site.part == "starter":
                now = replace(now, rotor_ratio=now.rotor_ratio + fault.added_ohm / circuit.rotor_ohm)
            now = replace(
                now,
                source_v=fault.source_v or now.source_v,
                demand_a=now.demand_a * fault.demand,
                coil_works=now.coil_works and fault.coil_works,
            )
        return replace(now, excess_ohm=excess)

    def needed(self) -> frozenset[str]:
        """Repairs that the vehicle as drawn needs by the wizard's own rules: a cell's Gaussian reaches past its edges.

        A part alone must lose what matters or change what is heard; a battery must be below its floor.
        """
        circuit, need = self.model.circuit, set[str]()
        for fault in self.faults:
            site, alone = self.model.sites[fault.site], replace(self, faults=(fault,)).condition()
            what = Observable("cranking", *site_span(circuit, site))
            bad, heard, _ = operate(circuit, alone, [what])
            good, sound, _ = operate(circuit, self.sound, [what])
            if site.fault == "discharged":
                matters = alone.source_v < 12.2 * circuit.scale
            elif site.part == "battery":
                matters = bad[0] < 9.6 * circuit.scale
            elif site.part in circuit.parts:
                control = circuit.parts[site.part].part.side is Side.CONTROL
                least = (MATERIAL_CONTROL_V if control else MATERIAL_V) * circuit.scale
                matters = abs(bad[0] - good[0]) >= least or heard is not sound
            else:
                matters = heard is not sound
            if matters:
                need.add(site.repair)
        return frozenset(need)

    def clear_cut(self) -> bool:
        """Whether a single fault of a part or of the battery moves its own span by more than twice the meter's and its
        tolerance's spread. Starter, engine and coil have no drop of their own: they are counted apart.
        """
        circuit, fault = self.model.circuit, self.faults[0]
        site = self.model.sites[fault.site]
        if site.part not in circuit.parts and site.part != "battery":
            return False
        state = "resting" if site.fault == "discharged" else "cranking"
        what = Observable(state, *site_span(circuit, site))
        bad, _, amps = operate(circuit, self.condition(), [what])
        good, _, sound_amps = operate(circuit, self.sound, [what])
        meter = self.model.priors.meter
        least = np.hypot(meter.share * bad[0], meter.volts)
        if site.part in circuit.parts:
            least = np.hypot(least, circuit.parts[site.part].spread_ohm * max(amps, sound_amps))
        return bool(abs(bad[0] - good[0]) > 2 * least)


def _excess(added: float, wide: float, chance: Generator) -> float:
    """Added ohms drawn from a cell, of the sign that the cell has."""
    while (excess := added + wide * chance.standard_normal()) * added < 0:
        pass
    return float(excess)


def _trace(model: FaultModel, fault: Fault, chance: Generator) -> Fault:
    """What a fault leaves behind: itself where it is too small to matter."""
    if fault.repair == NO_REPAIR:
        return fault
    site = model.sites[fault.site]
    cell, scale = site.trace, model.circuit.scale
    source = scale * (SOURCE_V * cell.source_share + cell.source_spread * chance.standard_normal())
    return Fault(
        fault.site,
        fault.repair,
        _excess(cell.added_ohm, cell.spread_ohm, chance),
        source if site.fault == "discharged" else None,
        cell.demand,
        cell.coil_works,
    )


@dataclass
class Job:
    """What became of one job. `statements` are (repair's odds, whether it was the one to do, repairs done before)."""

    kind: str
    label: str
    wanted: frozenset[str]
    done: tuple[str, ...] = ()
    clear_cut: bool = False
    ended: bool = False
    readings: int = 0
    minutes: float = 0.0
    statements: list[tuple[float, bool, int]] = field(default_factory=list)
    trail: list[str] = field(default_factory=list)

    @property
    def right(self) -> bool:
        """Whether just what was needed was done."""
        return self.ended and set(self.done) == self.wanted


class _Bench:
    """A vehicle with a technician who reads, hears and repairs what the wizard asks for.

    A fault that comes and goes stays as it is for a few cranks, and longer once it was made to show itself.
    """

    def __init__(self, at: Desk, vehicle: Drawn, chance: Generator, wrong: float) -> None:
        self.desk, self.vehicle, self.chance, self.wrong = at, vehicle, chance, wrong
        self.comes_and_goes = vehicle.model.history.comes_and_goes
        self.away, self.kept = False, 0
        if self.comes_and_goes:
            self.often = chance.uniform(*_THERE)
            self.failing = float(chance.uniform(*_STANDS))
            self.away = bool(chance.random() > self.often)

    def _crank(self) -> None:
        """Start is held anew: a fault that comes and goes may have come or gone."""
        if self.kept:
            self.kept -= 1
        elif self.comes_and_goes and self.chance.random() > _STAYS:
            self.away = bool(self.chance.random() > self.often)

    def _provoke(self) -> None:
        """The fault was made to show itself, and everything is left as it is."""
        self.away, self.kept = False, _KEPT

    def _cranked_on(self) -> str:
        """Ten more cranks, until one fails."""
        for _ in range(10):
            self._crank()
            if self._told_apart():
                self._provoke()
                return IT_FAILED
        return NO_CHANGE

    def _told_apart(self) -> bool:
        """Whether an ear hears that the fault is there now."""
        if self.away or not self.comes_and_goes or not self.vehicle.faults:
            return False
        circuit, vehicle = self.desk.circuit, self.vehicle
        return operate(circuit, vehicle.condition(), [])[1] != operate(circuit, vehicle.condition(away=True), [])[1]

    def read(self, asked: Next) -> ReadingTaken:
        assert asked.state is not None
        what = Observable(asked.state, asked.red or "", asked.black or "", asked.clamp or "")
        self._crank()
        now = self.vehicle.condition(away=self.away)
        change = 1.0 + self.desk.priors.crank_change * self.chance.standard_normal()
        if self._told_apart() and HEARD[self.heard()] is Heard.ONE_CLICK:
            change *= self.failing
        true = float(operate(self.desk.circuit, replace(now, demand_a=now.demand_a * change), [what])[0][0])
        shown = self._shown(true, what)
        return ReadingTaken(
            state=asked.state,
            red=asked.red,
            black=asked.black,
            clamp=asked.clamp,
            value=shown,
            acting_up=self.kept > 0 or self._told_apart() or (False if asked.acting_up else None),
        )

    def _shown(self, true: float, what: Observable) -> float:
        meter, clamp = self.desk.priors.meter, bool(what.clamp)
        share, least = (meter.clamp_share, meter.clamp_amps) if clamp else (meter.share, meter.volts)
        if what.state == "cranking":
            share += MODEL_SHARE
            parts = self.desk.circuit.parts
            way = () if clamp else self.desk.circuit.path(what.red, what.black) or ()
            true += KEY_ON_A * self.chance.standard_normal() * sum(parts[name].ohm for name in way)
        read = true + np.hypot(share * true, least) * self.chance.standard_normal()
        if self.chance.random() < self.wrong:
            full = 1000.0 if clamp else 13.5 * self.desk.circuit.scale
            nothing = 5.0 if clamp else 0.03
            empty = self.chance.random() < WRONG_SHOWS_NOTHING
            read = nothing * self.chance.standard_normal() if empty else full * self.chance.random()
        step = 1.0 if clamp else 0.001 if abs(read) < 4.0 else 0.01
        return round(round(read / step) * step, 3)

    def heard(self, *, away: bool = False) -> int:
        return HEARD.index(operate(self.desk.circuit, self.vehicle.condition(away=away), [])[1])

    def told(self) -> Heard:
        return HEARD[int(self.chance.choice(len(HEARD), p=TOLD[self.heard()]))]

    def answer(self, name: str, choices: Sequence[str]) -> str:
        step = self.desk.flow.steps[name]
        tables = {choice: table for choice in choices if (table := step.evidence_for(choice))}
        if not tables:
            return NOT_SURE
        if step.when == "intermittent" and EACH_PART not in step.choices:
            # Counted on the vehicle itself: the tables only tell families apart.
            return self._cranked_on()
        sites = [fault.site for fault in self.vehicle.faults]
        site = np.array([[*sites, -1, -1][:2]])
        hearing = np.eye(len(HEARD))[[self.heard(away=self.away)]]
        odds = [float(evidence_weight(site, self.vehicle.model.sites, hearing, t)[0]) for t in tables.values()]
        choice = str(self.chance.choice(list(tables), p=np.array(odds) / sum(odds)))
        if step.outcome_of(choice) in (EACH_PART, IT_FAILED):
            self._provoke()
        return choice


def run_job(circuit: str, plan: Plan, wrong: float, kind: str, intermittent: bool, seed: int) -> Job:
    """Draw one vehicle and do what the wizard says until it has nothing more to say."""
    at, chance = desk(circuit), np.random.default_rng(seed)
    model = at.fault_model(History(comes_and_goes=intermittent))
    vehicle = Drawn.of(model, chance, kind)
    bench = _Bench(at, vehicle, chance, wrong)
    drawn = ("healthy", "single", "pair")[len(vehicle.faults)]
    label = f"seed {seed} " + ", ".join(
        f"{model.sites[f.site].part} {model.sites[f.site].fault} {f.added_ohm * 1e3:.3g} mohm" for f in vehicle.faults
    )
    job = Job(drawn, label, vehicle.needed(), clear_cut=drawn == "single" and vehicle.clear_cut())
    symptom = bench.told()
    job.trail.append(f"{HEARD[bench.heard()]} told as {symptom}, {vehicle.sound.demand_a:.0f} A")
    complaint = Complaint(circuit=circuit, symptom=symptom, intermittent=intermittent)
    log: list[Event] = [Started(title="drawn", complaint=complaint)]
    while len(log) < _MOST_EVENTS:
        answer = assess(at, fold(log), plan, cautions_read=True)
        odds = {one.repair: one.probability for one in answer.repairs}
        wanted = bench.vehicle.wanted or {NO_REPAIR}
        first = max(wanted, key=lambda repair: odds.get(repair, 0.0))
        job.statements += [(p, repair == first, len(job.done)) for repair, p in odds.items() if p >= 0.01]
        asked = answer.next
        match asked.kind:
            case "finish":
                job.ended = True
                job.trail.append(f"finish: {asked.why}")
                return job
            case "repair":
                assert asked.repair is not None
                job.done = (*job.done, asked.repair)
                job.minutes += asked.minutes or 0.0
                bench.vehicle = bench.vehicle.repaired(asked.repair)
                log.append(Repaired(repair=asked.repair))
                job.trail.append(f"repair {asked.repair} ({odds.get(asked.repair, 0):.3f})")
            case "ask":
                assert asked.step is not None
                job.minutes += asked.minutes or 0.0
                log.append(Answered(step=asked.step, choice=bench.answer(asked.step, asked.choices or [])))
                job.trail.append(f"{asked.step}: {log[-1].choice}")
            case _:
                job.readings += 1
                job.minutes += asked.minutes or 0.0
                log.append(bench.read(asked))
                where = asked.clamp or f"{asked.red} to {asked.black}"
                there = " acting up" if log[-1].acting_up else ""
                job.trail.append(f"{asked.kind} {asked.state} {where}: {log[-1].value}{there}")
    return job


def deciles(jobs: Iterable[Job], *, first_only: bool = True) -> list[tuple[float, float, int, float, float]]:
    """Per decile of stated odds: its ends, how many statements, their mean and the share that was true."""
    said = np.array([(p, true) for job in jobs for p, true, done in job.statements if not done or not first_only])
    rows: list[tuple[float, float, int, float, float]] = []
    edges = np.linspace(0.0, 1.0, 11)
    for low, high in pairwise(edges):
        own = (said[:, 0] >= low) & ((said[:, 0] < high) | (high == 1.0))
        if own.any():
            rows.append((low, high, int(own.sum()), float(said[own, 0].mean()), float(said[own, 1].mean())))
    return rows


@dataclass(frozen=True)
class Outcome:
    """Shares that must hold, each with how many jobs it stands on."""

    clear_singles: tuple[float, int]
    without_drop: tuple[float, int]
    pairs: tuple[float, int]
    sound_lost_a_part: tuple[float, int]
    needless: tuple[float, int]
    wrong_part: tuple[float, int]
    nothing_named: tuple[float, int]
    ended: tuple[float, int]

    @classmethod
    def of(cls, jobs: Sequence[Job]) -> Outcome:
        def share(values: list[bool]) -> tuple[float, int]:
            return (float(np.mean(values)) if values else float("nan")), len(values)

        return cls(
            share([bool(j.done) and j.done[0] in j.wanted for j in jobs if j.clear_cut and j.wanted]),
            share([j.done[:1] == tuple(j.wanted) for j in jobs if j.kind == "single" and _NO_DROP & j.wanted]),
            share([j.wanted <= set(j.done) for j in jobs if j.kind == "pair"]),
            share([bool(j.done) for j in jobs if j.kind == "healthy"]),
            share([bool(j.done) for j in jobs if not j.wanted]),
            share([bool(set(j.done) - j.wanted) for j in jobs]),
            share([not j.done for j in jobs if j.wanted]),
            share([j.ended for j in jobs]),
        )


def simulate(
    circuit: str,
    plan: Plan,
    seeds: Sequence[int],
    *,
    wrong: float = 0.0,
    kind: str = "any",
    intermittent: bool = False,
) -> list[Job]:
    """Many jobs on all processors, with a line of progress on stderr."""
    jobs: list[Job] = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for job in pool.map(partial(run_job, circuit, plan, wrong, kind, intermittent), seeds, chunksize=4):
            jobs.append(job)
            if sys.stderr.isatty() or len(jobs) % 100 == 0:
                print(f"\r{circuit}, {plan}: {len(jobs)} of {len(seeds)} jobs", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return jobs


def _report(jobs: Sequence[Job], *, misses: bool) -> None:
    print(f"{'stated':>12}{'statements':>12}{'mean':>8}{'true':>8}")
    for low, high, many, mean, true in deciles(jobs):
        print(f"{low:>5.0%} to {high:>4.0%}{many:>12}{mean:>8.3f}{true:>8.3f}")
    outcome = Outcome.of(jobs)
    print(f"right repair first, clear single faults   {outcome.clear_singles[0]:.3f} of {outcome.clear_singles[1]}")
    print(f"the same, faults of starter and engine    {outcome.without_drop[0]:.3f} of {outcome.without_drop[1]}")
    print(f"pairs that end with both repairs          {outcome.pairs[0]:.3f} of {outcome.pairs[1]}")
    print(
        f"healthy circuits that lose a part         {outcome.sound_lost_a_part[0]:.4f} of "
        f"{outcome.sound_lost_a_part[1]}"
    )
    print(f"the same with faults too small to matter  {outcome.needless[0]:.4f} of {outcome.needless[1]}")
    print(f"jobs with a repair that was not needed    {outcome.wrong_part[0]:.4f} of {outcome.wrong_part[1]}")
    print(f"a repair needed and none named            {outcome.nothing_named[0]:.4f} of {outcome.nothing_named[1]}")
    print(f"jobs that come to an end                  {outcome.ended[0]:.4f} of {outcome.ended[1]}")
    print(f"readings, mean                            {np.mean([j.readings for j in jobs]):.2f}")
    print(f"minutes, mean, with repairs               {np.mean([j.minutes for j in jobs]):.1f}")
    if misses:
        for job in jobs:
            if not job.right:
                print(f"\n{job.kind}: {job.label}; wanted {sorted(job.wanted)}, done {list(job.done)}")
                print("  " + "\n  ".join(job.trail))


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--jobs", type=int, default=2000)
    words.add_argument("--circuit", default="remote-battery")
    words.add_argument("--plan", choices=("fastest", "walk"), default="fastest")
    words.add_argument("--kind", choices=("any", "single", "pair", "healthy"), default="any")
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--wrong", action="store_true", help="let readings be wrong as often as the priors say")
    words.add_argument("--intermittent", action="store_true", help="let the faults come and go")
    words.add_argument("--misses", action="store_true", help="print every job that did not end with just its repairs")
    asked = words.parse_args()
    wrong = desk(asked.circuit).priors.wrong_reading if asked.wrong else 0.0
    began = time.perf_counter()
    seeds = range(asked.seed, asked.seed + asked.jobs)
    jobs = simulate(asked.circuit, asked.plan, seeds, wrong=wrong, kind=asked.kind, intermittent=asked.intermittent)
    print(
        f"{asked.circuit}, {asked.plan}, {asked.jobs} jobs drawn ({asked.kind}), wrong readings {wrong:.0%}, "
        f"{'faults that come and go, ' if asked.intermittent else ''}"
        f"{time.perf_counter() - began:.0f} s"
    )
    _report(jobs, misses=asked.misses)


if __name__ == "__main__":
    main()
