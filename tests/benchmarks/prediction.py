"""How often readings after a repair fall inside the band that was said before it.

Run with `python -m tests.benchmarks.prediction --repairs 500`. Vehicles with one fault or two are drawn from the priors
and walked to the first repair that the wizard names; the repair is done and the spans of its proof are read again.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from tests.benchmarks.calibration import Drawn, _Bench
from tests.vehicles import desk
from wizard.circuit.network import Observable
from wizard.diagnosis.faults import History
from wizard.repair.predict import predict
from wizard.walk.assessment import Next
from wizard.walk.case import Case
from wizard.walk.events import Answered, Complaint, Event, Repaired, Started
from wizard.walk.retest import proof_spans
from wizard.walk.state import fold
from wizard.walk.walker import assess

_MOST_EVENTS = 40


@dataclass(frozen=True)
class Outcome:
    """One repair: whether it was the right one, and what was said and read for each span of its proof."""

    label: str
    right: bool
    spans: tuple[tuple[Observable, float, float, float], ...]

    @property
    def inside(self) -> list[bool]:
        return [low <= value <= high for _, low, high, value in self.spans]


def run_repair(circuit: str, seed: int) -> Outcome | None:
    """Draw a vehicle, find its first repair, predict, repair and read; None when no repair was named."""
    at, chance = desk(circuit), np.random.default_rng(seed)
    model = at.fault_model(History())
    vehicle = Drawn.of(model, chance, "single" if chance.random() < 0.85 else "pair")
    bench = _Bench(at, vehicle, chance, wrong=0.0)
    log: list[Event] = [Started(title="", complaint=Complaint(circuit=circuit, symptom=bench.told()))]
    for _ in range(_MOST_EVENTS):
        asked = assess(at, fold(log), "fastest", cautions_read=True).next
        if asked.kind == "repair":
            break
        if asked.kind == "ask":
            assert asked.step is not None
            log.append(Answered(step=asked.step, choice=bench.answer(asked.step)))
        elif asked.kind in ("measure", "prove"):
            log.append(bench.read(asked))
        else:
            return None
    else:
        return None
    assert asked.repair is not None
    belief = Case.of(at, fold(log)).belief
    spans = proof_spans(Case.of(at, fold([*log, Repaired(repair=asked.repair)])))
    foreseen = predict(belief, asked.repair, spans)
    bench.vehicle = vehicle.repaired(asked.repair)
    read: list[tuple[Observable, float, float, float]] = []
    for band in foreseen:
        what = band.what
        step = Next(
            kind="prove",
            why="",
            state=what.state,
            red=what.red or None,
            black=what.black or None,
            clamp=what.clamp or None,
        )
        read.append((what, band.low, band.high, float(bench.read(step).value)))
    return Outcome(f"seed {seed} {asked.repair}", asked.repair in vehicle.wanted, tuple(read))


def outcomes(circuit: str, seeds: Sequence[int], workers: int) -> Iterator[Outcome]:
    """Repairs of many vehicles, some of which have none."""
    run = partial(run_repair, circuit)
    if workers == 1:
        yield from filter(None, map(run, seeds))
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from filter(None, pool.map(run, seeds, chunksize=4))


def main() -> None:
    """Print how many readings lie within their bands, for each circuit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repairs", type=int, default=500)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--seed", type=int, default=0)
    wanted = parser.parse_args()
    inside: list[bool] = []
    repairs = right = 0
    for number, circuit in enumerate(("front-battery", "remote-battery")):
        share = wanted.repairs // 2
        seeds = range(wanted.seed + 10_000 * number, wanted.seed + 10_000 * number + 2 * share)
        for outcome in outcomes(circuit, seeds, wanted.workers):
            if outcome.spans:
                inside += outcome.inside
                repairs, right = repairs + 1, right + outcome.right
                if not all(outcome.inside):
                    missed = [s for s, i in zip(outcome.spans, outcome.inside, strict=True) if not i]
                    print(outcome.label, outcome.right, missed)
            if repairs >= share * (number + 1):
                break
    print(f"{repairs} repairs, {right} of them wanted; {sum(inside)} of {len(inside)} readings inside", end="")
    print(f" ({sum(inside) / len(inside):.1%})")
    sys.exit(not 0.87 <= sum(inside) / len(inside) <= 0.93)


if __name__ == "__main__":
    main()
