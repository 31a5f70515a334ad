"""How long the belief and the next test take, how that grows with the circuit, and what memory it needs.

Run with `python -m tests.benchmarks.speed`; `--memory` prints the peak of its process alone. Aims: under 60 ms on
`remote-battery` with ten readings and under 250 ms on 40 parts, medians; under 150 MB for 40 parts.
pgmpy's exact inference answers the same question on a small circuit in the same run, when it is installed.
"""

from __future__ import annotations

import argparse
import importlib.util
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from tests.benchmarks.discrete import Discrete, small_map, small_model
from tests.vehicles import desk
from wizard.circuit.circuit import Circuit
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.map import CircuitMap, Side
from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import Evidence, Measurement
from wizard.diagnosis.faults import FaultModel, History
from wizard.diagnosis.planner import Reach, candidates, prospects

RUNS = 11
SIZES = (10, 20, 40, 80)


def long_map(parts: int) -> CircuitMap:
    """A circuit with so many parts: cables and lugs in turn on a long run, and every fourth a ground strap."""
    branches = (parts - 2) // 4
    run = parts - 2 - branches
    kinds = ["cable" if number % 2 else "joint" for number in range(run)]
    return small_map(kinds[: run - run // 3], kinds[: run // 3], side_straps=branches)


def ten_readings(circuit: Circuit) -> Evidence:
    """Ten readings of a vehicle whose third part is bad."""
    role = circuit.roles
    spans = [
        (role["battery.positive"], role["battery.negative"]),
        *circuit.runs.values(),
        (role["starter.motor"], role["starter.case"]),
    ]
    points = circuit.points_along(*circuit.runs["positive"])
    spans += [(points[0], points[len(points) // 2]), (points[len(points) // 2], points[-1]), (points[1], points[-1])]
    what = [Observable("resting", *spans[0]), *(Observable("cranking", *span) for span in spans)]
    name = next(n for n, p in list(circuit.parts.items())[2:] if p.part.side is Side.POSITIVE)
    values, _, _ = operate(circuit, Condition({name: 0.0015}, demand_a=circuit.demand_a[1]), what)
    measured = enumerate(zip(what, values, strict=True), 1)
    return Evidence(tuple(Measurement(n, w, round(float(v), 2)) for n, (w, v) in measured), Heard.CRANKS_SLOWLY)


def answer(model: FaultModel, evidence: Evidence) -> None:
    """The belief and the next test, as after every key press."""
    belief = Belief(model, evidence)
    known = frozenset(p for m in evidence.measurements for p in (m.what.red, m.what.black))
    prospects(belief, candidates(model.circuit, Reach(), known), [], Reach())


def median_ms(work: Callable[[], object]) -> tuple[float, float]:
    """Medians on the clock and of the processor; the first call, which fills what is kept, does not count."""
    work()
    clock: list[float] = []
    busy: list[float] = []
    for _ in range(RUNS):
        began, used = time.perf_counter(), time.process_time()
        work()
        clock.append((time.perf_counter() - began) * 1e3)
        busy.append((time.process_time() - used) * 1e3)
    return statistics.median(clock), statistics.median(busy)


def _line(name: str, times: Iterable[float], note: str = "") -> None:
    clock, busy = times
    print(f"{name:<52}{clock:>9.1f} ms{busy:>9.1f} ms  {note}")


def peak_mb() -> float:
    """The most memory that this process has had, in MB, as Linux counts it since the program began.

    What getrusage says would take in the process that started this one.
    """
    [line] = [one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def _big(parts: int) -> FaultModel:
    return FaultModel(Circuit.of(long_map(parts)), desk("remote-battery").priors, History())


def _beside_pgmpy() -> None:
    priors = desk("remote-battery").priors
    model = small_model(small_map(["joint", "cable", "joint"], ["cable"]), priors, tuple(priors.families), pairs=False)
    what = [Observable("cranking", "plus", "minus"), Observable("cranking", "plus", "feed")]
    what.append(Observable("cranking", "case", "minus"))
    values, _, _ = operate(model.circuit, Condition({"joint-0": 0.003}), what)
    readings = tuple(Measurement(n, w, float(v)) for n, (w, v) in enumerate(zip(what, values, strict=True), 1))
    evidence = Evidence(readings, Heard.CRANKS_SLOWLY)
    _line("small circuit, no pairs, 3 readings: this belief", median_ms(lambda: Belief(model, evidence)))
    if importlib.util.find_spec("pgmpy") is None:
        print("pgmpy is not installed: pip install 'dropwalk[proof]'")
        return
    discrete = Discrete(model, evidence)
    _line("the same in pgmpy, its tables made beforehand", median_ms(discrete.fault_odds))
    off = np.abs(discrete.belief_odds(Belief(model, evidence)) - discrete.fault_odds()).max()
    print(f"largest difference of any fault's odds: {off:.1e}")


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--memory", action="store_true", help="print the peak of this process on 40 parts, in MB")
    if words.parse_args().memory:
        model = _big(40)
        answer(model, ten_readings(model.circuit))
        print(f"{peak_mb():.0f}")
        return
    print(f"{'median of ' + str(RUNS):<52}{'clock':>12}{'processor':>12}")
    remote = desk("remote-battery").fault_model(History())
    readings = ten_readings(remote.circuit)
    _line("remote-battery, ten readings", median_ms(lambda: answer(remote, readings)), "aim 60 ms")
    for parts in SIZES:
        model = _big(parts)
        at = ten_readings(model.circuit)
        name = f"{len(model.circuit.parts)} parts, {len(model.singles)} faults, {len(model.pairs)} pairs"
        _line(name, median_ms(lambda model=model, at=at: answer(model, at)), "aim 250 ms" if parts == 40 else "")
    _beside_pgmpy()
    alone = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.speed", "--memory"], capture_output=True, text=True, check=True
    )
    print(f"memory of a process with 40 parts, peak: {alone.stdout.strip()} MB, aim 150 MB")


if __name__ == "__main__":
    main()
