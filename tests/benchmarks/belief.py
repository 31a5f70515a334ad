"""Belief and next test together on `remote-battery` with ten readings: what a technician waits for after a reading.

Run with `python -m tests.benchmarks.belief`. Aim: a median under 60 ms. The baseline is one numpy matrix product of
about a millisecond, so that figures from machines of different speed can be compared.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np

from tests.vehicles import desk, forget
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.network import Observable
from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.events import Complaint, Event, ReadingTaken, Started
from wizard.walk.state import JobState, fold
from wizard.walk.walker import assess

RUNS = 31
AIM_MS = 60.0
# Ten readings of a van whose long cable is bad, in the order of the walk.
TEN = [
    Observable("resting", "battery-positive-post", "battery-negative-post"),
    Observable("cranking", "battery-positive-post", "battery-negative-post"),
    Observable("cranking", "battery-positive-post", "starter-b-stud"),
    Observable("cranking", "starter-case", "battery-negative-post"),
    Observable("cranking", "starter-b-stud", "motor-stud"),
    Observable("cranking", "motor-stud", "starter-case"),
    Observable("cranking", "battery-positive-post", "s-terminal"),
    Observable("cranking", "battery-positive-post", "isolator-out-stud"),
    Observable("cranking", "bulkhead-stud", "starter-b-stud"),
    Observable("cranking", clamp="rear-cable"),
]


def ten_readings(at: Desk) -> JobState:
    """The job after ten readings."""
    values, _, _ = operate(at.circuit, Condition({"long-cable": 0.0012}, demand_a=at.circuit.demand_a[1]), TEN)
    complaint = Complaint(circuit=at.circuit.map.circuit, symptom=Heard.CRANKS_SLOWLY)
    log: list[Event] = [Started(title="van", complaint=complaint)]
    for what, value in zip(TEN, values, strict=True):
        ends = {"red": what.red or None, "black": what.black or None, "clamp": what.clamp or None}
        log.append(ReadingTaken(state=what.state, value=round(float(value), 2), **ends))
    return fold(log)


def measured(name: str, work: Callable[[], object], first: bool = True) -> None:
    """Print how long the first call took and the median of the later ones, on the clock and of the processor."""
    clock: list[float] = []
    cpu: list[float] = []
    for _ in range(RUNS):
        forget(desk("remote-battery"))
        began, busy = time.perf_counter(), time.process_time()
        work()
        clock.append((time.perf_counter() - began) * 1e3)
        cpu.append((time.process_time() - busy) * 1e3)
    head = f"first {clock[0]:6.1f} ms   " if first else " " * 18
    later = f"later {statistics.median(clock[1:]):6.1f} ms, processor {statistics.median(cpu[1:]):6.1f} ms"
    print(f"{name:<44}{head}{later}")


def main() -> None:
    at = desk("remote-battery")
    state = ten_readings(at)
    print(f"remote-battery, {len(state.readings)} readings, {RUNS} runs; aim for belief and next test: {AIM_MS:.0f} ms")
    measured("the whole answer, by the walk", lambda: assess(at, state, "walk", cautions_read=True))
    measured("the whole answer, by the fastest plan", lambda: assess(at, state, "fastest", cautions_read=True))
    measured("belief alone", lambda: Case.of(at, state), first=False)
    square = np.random.default_rng(1).normal(size=(400, 400))
    measured("baseline: a 400 x 400 matrix product", lambda: square @ square, first=False)


if __name__ == "__main__":
    main()
