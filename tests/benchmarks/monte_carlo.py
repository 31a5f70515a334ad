"""The belief against brute force: vehicles drawn at random, each solved by hand, weighed by how well they fit.

Run with `python -m tests.benchmarks.monte_carlo --samples 4000000`. Nothing here uses the belief's own way through the
network or its Gaussian algebra: every vehicle gets its own resistances, volts and currents, its two loops (motor and
coil) are solved in closed form, and each set of readings weighs it by the meter's noise alone. What is taken over is
what was known before any reading: the hypotheses with their severities and odds, and the figures of the meter.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.benchmarks.hypotheses import Rows
from tests.vehicles import desk
from wizard.circuit.load import HEARD, SLOW_SHARE, Condition, operate
from wizard.circuit.network import BATTERY, MOTOR, OPEN_OHM, Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import Evidence, Measurement
from wizard.diagnosis.faults import FaultModel, History
from wizard.diagnosis.likelihood import TOLD
from wizard.diagnosis.prediction import (
    BATTERY_SPREAD,
    CURRENT_COARSE,
    CURRENT_FINE,
    KEY_ON_A,
    MODEL_SHARE,
    ROTOR_SPREAD,
)

Floats = NDArray[np.float64]
CIRCUIT = "remote-battery"
# The loop of this map by hand: parts and the point that follows each.
_POSITIVE = {
    "positive-clamp": "positive-clamp-body",
    "rear-cable": "isolator-feed-lug",
    "isolator-feed-joint": "isolator-in-stud",
    "isolator": "isolator-out-stud",
    "isolator-load-joint": "isolator-load-lug",
    "long-cable": "bulkhead-feed-lug",
    "bulkhead-feed-joint": "bulkhead-stud",
    "bulkhead-starter-joint": "bulkhead-starter-lug",
    "engine-bay-cable": "starter-lug",
    "b-stud-joint": "starter-b-stud",
}
_CONTROL = ("control-feed", "start-switch")
_HEAVY = {"engine-strap-joint": "strap-engine-lug", "engine-strap": "strap-body-lug", "body-strap-joint": "body-front"}
_THIN = "thin-strap"
_REAR = {"body": "body-rear", "ground-cable": "negative-clamp-body", "negative-clamp": "battery-negative-post"}
# Of wrong readings, those that show nothing and how near to nothing; the others may show anything up to these.
_NOTHING, _NOTHING_V, _NOTHING_A, _FULL_V, _FULL_A = 0.5, 0.03, 5.0, 13.5, 1000.0
_CHUNK = 100_000


@dataclass(frozen=True)
class Vehicles:
    """n vehicles: resistances by part and of battery, rotor; the battery's volts; the current that is asked for.

    `odds` are the logs of how much likelier each is than it was to be drawn; `latents` (2, n) the standard normals
    behind current and volts.
    """

    ohm: Mapping[str, Floats]
    source_v: Floats
    demand_a: Floats
    coil_works: NDArray[np.bool_]
    odds: Floats
    latents: Floats


@dataclass(frozen=True)
class Guess:
    """Where the current and the battery's volts are drawn from, in their own standard deviations: (mean, spread) each.

    Three in ten are drawn as before any reading, so no vehicle is left out.
    """

    demand: tuple[float, float] = (0.0, 1.0)
    source: tuple[float, float] = (0.0, 1.0)


def _guessed(chance: Generator, guess: tuple[float, float], many: int) -> tuple[Floats, Floats]:
    """Standard normals drawn about a guess, with the log of how much likelier they were before it (n,)."""
    mean, spread = guess
    near = chance.random(many) < 0.7
    drawn = np.where(near, mean, 0.0) + np.where(near, spread, 1.0) * chance.standard_normal(many)
    plain = np.exp(-0.5 * drawn**2)
    return drawn, np.log(plain / (0.3 * plain + 0.7 / spread * np.exp(-0.5 * ((drawn - mean) / spread) ** 2)))


def _current(
    chance: Generator, guess: tuple[float, float], spread: float, single: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Logs of the current asked for over the typical one, in spreads, drawn about a guess, with the log of how much
    likelier they were before it (n,), (n,). Before it they are Gaussian about the middle of each cell of current.
    """
    many = len(single)
    drawn = np.empty(many)
    for cells, own in ((CURRENT_FINE, single), (CURRENT_COARSE, ~single)):
        middle, width, share = (np.array(column) for column in zip(*cells, strict=True))
        cell = chance.choice(len(cells), many, p=share / share.sum())
        ratio = np.maximum(1.0 + width[cell] * spread * chance.standard_normal(many), 0.05)
        drawn = np.where(own, middle[cell] + np.log(ratio) / spread, drawn)
    mean, wide = guess
    drawn = np.where(chance.random(many) < 0.7, mean + wide * chance.standard_normal(many), drawn)
    plain = np.zeros(many)
    for cells, own in ((CURRENT_FINE, single), (CURRENT_COARSE, ~single)):
        density = np.zeros(many)
        for middle, width, share in cells:
            ratio = np.exp((drawn - middle) * spread)
            density += share * np.exp(-0.5 * ((ratio - 1.0) / (width * spread)) ** 2) / width * ratio
        plain = np.where(own, density, plain)
    near = np.exp(-0.5 * ((drawn - mean) / wide) ** 2) / wide
    return drawn, np.log(plain + 1e-300) - np.log(0.3 * plain + 0.7 * near)


@dataclass(frozen=True)
class Cranked:
    """n vehicles with start held: each point's volts over the negative post, the amps along the heavy side and those of
    the motor, and what is heard.
    """

    volts: Mapping[str, Floats]
    heavy_a: Floats
    motor_a: Floats
    heard: NDArray[np.intp]

    def reads(self, what: Observable, source_v: Floats) -> Floats:
        """What a perfect meter reads (n,)."""
        if what.state != "cranking":
            return source_v
        return self.heavy_a if what.clamp else self.volts[what.red] - self.volts[what.black]


def _two_unknowns(first: tuple[Floats, Floats, Floats], second: tuple[Floats, Floats, Floats]) -> tuple[Floats, Floats]:
    """Cramer's rule for a x + b y = c twice over."""
    (a, b, c), (d, e, f) = first, second
    return (c * e - b * f) / (a * e - b * d), (a * f - c * d) / (a * e - b * d)


def crank(model: FaultModel, many: Vehicles, change: Floats | float = 1.0) -> Cranked:
    """Hold start on every vehicle, the current asked for times `change`: Kirchhoff's laws for three loops, by hand."""
    circuit, ohm, e = model.circuit, many.ohm, many.source_v
    demand = many.demand_a * change
    positive = sum(ohm[name] for name in _POSITIVE)
    heavy = sum(ohm[name] for name in _HEAVY)
    straps = heavy * ohm[_THIN] / (heavy + ohm[_THIN])
    shared = ohm[BATTERY] + ohm["starter-mounting"] + straps + sum(ohm[name] for name in _REAR)
    control = sum(ohm[name] for name in _CONTROL)
    pulling = control + circuit.pull_in_ohm + np.where(many.coil_works, 0.0, OPEN_OHM)
    holding = control + circuit.hold_in_ohm
    closes = many.coil_works & (e * circuit.pull_in_ohm / (pulling + shared) >= circuit.map.solenoid.pull_in_v)

    # Three loops: along the heavy side to the motor's stud, over the holding winding to the case, and over the pulling
    # one to that stud. With the shaft held the motor is its winding; an engine that turns sets the sum of two currents.
    heavy_ohm, rotor = positive + ohm["solenoid-contacts"], ohm[MOTOR]
    whole = shared + heavy_ohm + rotor
    to_case, to_stud = shared / whole, (shared + rotor) / whole
    coil, pull = _two_unknowns(
        (holding + shared - shared * to_case, control + shared - shared * to_stud, e * (1.0 - to_case)),
        (
            (heavy_ohm + shared) * to_case - circuit.hold_in_ohm - shared,
            circuit.pulling_ohm - shared + (heavy_ohm + shared) * to_stud,
            e * ((heavy_ohm + shared) / whole - 1.0),
        ),
    )
    stalled = e / whole - coil * to_case - pull * to_stud + pull
    turning = closes & (demand < stalled)
    coil_turning, pull_turning = _two_unknowns(
        (holding + shared, control, e - demand * shared),
        (-circuit.hold_in_ohm - shared, circuit.pulling_ohm + heavy_ohm, demand * (heavy_ohm + shared) - e),
    )
    pull = np.where(closes, np.where(turning, pull_turning, pull), 0.0)
    coil = np.where(turning, coil_turning, coil)
    coil = np.where(closes, coil, e / (pulling + shared))
    motor = np.where(closes, np.where(turning, demand, stalled) - pull, 0.0)
    coil_v = coil * np.where(closes, circuit.hold_in_ohm, pulling - control)
    emf = coil * circuit.hold_in_ohm - pull * circuit.pulling_ohm - demand * rotor
    healthy = circuit.system_v * 1.04 - circuit.demand_a[1] * (
        circuit.rotor_ohm + circuit.battery_ohm + sum(circuit.parts[name].ohm for name in circuit.main_loop)
    )
    heard = np.where(turning, np.where(emf < SLOW_SHARE * healthy, 1, 0), 2)
    heard = np.where(coil_v < circuit.hold_in_v, 3, heard)
    heard = np.where(closes, heard, 4)

    coil = coil + pull
    total = motor + coil
    volts: dict[str, Floats] = {"battery-positive-post": e - total * ohm[BATTERY]}
    at = volts["battery-positive-post"]
    volts["switch-feed"] = at - coil * ohm["control-feed"]
    volts["s-terminal"] = at - coil * control
    for name, point in _POSITIVE.items():
        at = volts[point] = at - motor * ohm[name]
    case = total * (shared - ohm[BATTERY])
    volts["starter-case"] = case
    volts["motor-stud"] = np.where(closes, at - motor * ohm["solenoid-contacts"], case)
    at = volts["engine-block"] = case - total * ohm["starter-mounting"]
    through = total * straps / heavy
    for name, point in _HEAVY.items():
        at = volts[point] = at - through * ohm[name]
    for name, point in _REAR.items():
        at = volts[point] = at - total * ohm[name]
    return Cranked(volts, motor, np.where(closes, motor + pull, 0.0), heard)


def _above_zero(chance: Generator, mean: Floats | float, spread: Floats | float, many: int) -> Floats:
    """Gaussians cut off where they change sign (n,)."""
    mean, spread = np.broadcast_to(mean, many), np.broadcast_to(spread, many)
    drawn = mean + spread * chance.standard_normal(many)
    while len(bad := np.flatnonzero(drawn * mean < 0)):
        drawn[bad] = mean[bad] + spread[bad] * chance.standard_normal(len(bad))
    return drawn


def draw(model: FaultModel, rows: Rows, which: NDArray[np.intp], chance: Generator, guess: Guess = Guess()) -> Vehicles:
    """One vehicle for each hypothesis in `which`."""
    circuit, many = model.circuit, len(which)
    ohm = {n: _above_zero(chance, p.ohm, p.spread_ohm, many) for n, p in circuit.parts.items()}
    ohm[BATTERY] = _above_zero(chance, circuit.battery_ohm, BATTERY_SPREAD * circuit.battery_ohm, many)
    ohm[MOTOR] = _above_zero(chance, circuit.rotor_ohm, ROTOR_SPREAD * circuit.rotor_ohm, many)
    index = model.load.index
    for end in (0, 1):
        extra = _above_zero(chance, rows.added[which, end], rows.spread[which, end], many)
        for name in ohm:
            own = rows.branch[which, end] == index[name]
            ohm[name] = np.where(own, np.minimum(np.maximum(ohm[name] + extra, 1e-7), 2 * OPEN_OHM), ohm[name])
    low, typical, high = circuit.demand_a
    spread = float(np.log(high / low)) / (2 * 1.645)
    of_demand, demand_odds = _current(chance, guess.demand, spread, which < rows.singles)
    of_source, source_odds = _guessed(chance, guess.source, many)
    demand = typical * np.exp(spread * of_demand) * rows.demand[which]
    source = rows.source_v[which] + rows.source_spread[which] * of_source
    latents = np.stack([of_demand, of_source])
    return Vehicles(ohm, source, demand, rows.coil_works[which], demand_odds + source_odds, latents)


def _spread(model: FaultModel, what: Observable, mean: Floats) -> Floats:
    meter = model.priors.meter
    share, least = (meter.clamp_share, meter.clamp_amps) if what.clamp else (meter.share, meter.volts)
    if what.state == "cranking" and not what.clamp:
        way = model.circuit.path(what.red, what.black) or ()
        least = np.hypot(least, KEY_ON_A * sum(model.circuit.parts[name].ohm for name in way))
    return np.hypot((share + (MODEL_SHARE if what.state == "cranking" else 0.0)) * mean, least)


def log_fit(model: FaultModel, evidence: Evidence, many: Vehicles, chance: Generator) -> Floats:
    """Log likelihood of readings and complaint for each vehicle with a current of its own in every crank (n,)."""
    priors, count = model.priors, len(many.source_v)
    quiet = crank(model, many)
    fit = np.zeros(count)
    if evidence.symptom is not None:
        fit += np.log(TOLD[quiet.heard, HEARD.index(evidence.symptom)])
    cranked: dict[int, Cranked] = {}
    for m in evidence.measurements:
        assert m.value is not None
        number = m.crank if m.crank is not None else -m.number
        if number not in cranked:
            change = 1.0 + priors.crank_change * chance.standard_normal(count)
            cranked[number] = crank(model, many, change)
        mean = cranked[number].reads(m.what, many.source_v)
        spread = _spread(model, m.what, mean)
        right = np.exp(-0.5 * ((m.value - mean) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        near, full = (_NOTHING_A, _FULL_A) if m.what.clamp else (_NOTHING_V, _FULL_V)
        nothing = np.exp(-0.5 * (m.value / near) ** 2) / (near * np.sqrt(2 * np.pi))
        wrong = _NOTHING * nothing + (1.0 - _NOTHING) / full
        fit += np.log((1.0 - priors.wrong_reading) * right + priors.wrong_reading * wrong)
    return fit


@dataclass(frozen=True)
class Estimate:
    """Odds of each repair to be done first, with one standard error of each, and how many vehicles count."""

    odds: dict[str, float]
    error: float
    effective: float


@dataclass
class _Sums:
    """Sums of weights and of their squares by hypothesis (n,), and of weighted latents, scaled by exp(base)."""

    total: Floats
    squares: Floats
    latents: Floats
    base: float = -np.inf

    @property
    def guess(self) -> Guess:
        """Mean and one and a half times the spread of current and volts."""
        mean = self.latents[0] / self.total.sum()
        spread = np.sqrt(np.maximum(self.latents[1] / self.total.sum() - mean**2, 0.0))
        wide = np.clip(1.5 * spread, 0.1, 1.5)
        return Guess((float(mean[0]), float(wide[0])), (float(mean[1]), float(wide[1])))


def _gather(
    model: FaultModel,
    rows: Rows,
    evidence: Evidence,
    proposal: Floats,
    samples: int,
    chance: Generator,
    guess: Guess = Guess(),
) -> _Sums:
    sums = _Sums(np.zeros(len(proposal)), np.zeros(len(proposal)), np.zeros((2, 2)))
    cumulative = np.cumsum(proposal)
    ratio = np.log(rows.prior) - np.log(np.maximum(proposal, 1e-300))
    for start in range(0, samples, _CHUNK):
        count = min(_CHUNK, samples - start)
        which = np.minimum(np.searchsorted(cumulative, chance.random(count) * cumulative[-1]), len(proposal) - 1)
        many = draw(model, rows, which, chance, guess)
        fit = log_fit(model, evidence, many, chance) + ratio[which] + many.odds
        if (top := float(fit.max())) > sums.base:
            shrink = np.exp(sums.base - top)
            sums.total *= shrink
            sums.latents *= shrink
            sums.squares *= shrink**2
            sums.base = top
        weight = np.exp(fit - sums.base)
        sums.total += np.bincount(which, weight, len(proposal))
        sums.squares += np.bincount(which, weight**2, len(proposal))
        sums.latents += np.stack([many.latents @ weight, many.latents**2 @ weight])
    return sums


def estimate(model: FaultModel, evidence: Evidence, samples: int, chance: Generator) -> Estimate:
    """Brute force: a tenth of the vehicles, then a fifth, find which hypotheses, currents and volts matter."""
    rows = Rows.of(model)
    single = rows.prior * (np.arange(len(rows.prior)) < rows.singles)
    pair = rows.prior - single
    broad = 0.5 * single / single.sum() + 0.5 * pair / pair.sum()
    _, group = np.unique(rows.site[:, 0] * 1000 + rows.site[:, 1] + 1, return_inverse=True)
    within = rows.prior / np.bincount(group, rows.prior)[group]
    proposal, guess = broad, Guess()
    for share in (10, 5):
        found = _gather(model, rows, evidence, proposal, samples // share, chance, guess)
        # What was found of each pair of sites, shared out over its severities as before any reading, and of each alone.
        mass = np.sqrt(np.bincount(group, found.total))
        alone = np.sqrt(found.total)
        proposal = 0.2 * broad + 0.4 * (mass / mass.sum())[group] * within + 0.4 * alone / alone.sum()
        guess = found.guess
    sums = _gather(model, rows, evidence, proposal, samples - samples // 10 - samples // 5, chance, guess)
    total, squares = sums.total, sums.squares

    needed = np.zeros(len(model.repairs))
    repair, both = rows.repair, rows.repair[:, 0] != rows.repair[:, 1]
    np.add.at(needed, repair[:, 0], total)
    np.add.at(needed, repair[both, 1], total[both])
    needed[-1] = 0.0
    second = both & (needed[repair[:, 1]] > 1.02 * needed[repair[:, 0]])
    first_repair = np.where(second, repair[:, 1], repair[:, 0])
    whole = total.sum()
    odds = np.bincount(first_repair, total, len(model.repairs)) / whole
    own = np.bincount(first_repair, squares, len(model.repairs))
    variance = (own * (1 - odds) ** 2 + (squares.sum() - own) * odds**2) / whole**2
    return Estimate(
        dict(zip(model.repairs, odds.tolist(), strict=True)),
        float(np.sqrt(variance.max())),
        float(whole**2 / squares.sum()),
    )


def random_evidence(model: FaultModel, chance: Generator) -> tuple[Evidence, str]:
    """Two to six readings, some in one crank, of a vehicle drawn from the priors; with what it is."""
    rows = Rows.of(model)
    odds = rows.prior.copy()
    odds[rows.singles :] *= 6.0
    which = chance.choice(len(odds), p=odds / odds.sum(), size=1)
    one = draw(model, rows, which, chance)
    heard = int(crank(model, one).heard[0])
    symptom = HEARD[int(chance.choice(len(HEARD), p=TOLD[heard]))]
    positive = ["battery-positive-post", *_POSITIVE.values(), "motor-stud"]
    ground = ["starter-case", "engine-block", *_HEAVY.values(), *_REAR.values()]
    measurements: list[Measurement] = []
    for number in range(1, int(chance.integers(2, 7)) + 1):
        pick = chance.random()
        if pick < 0.1:
            what = Observable("cranking", clamp="rear-cable")
        elif pick < 0.2:
            what = Observable("resting", "battery-positive-post", "battery-negative-post")
        elif pick < 0.3:
            what = Observable("cranking", "battery-positive-post", "battery-negative-post")
        elif pick < 0.4:
            what = Observable("cranking", "motor-stud", "starter-case")
        elif pick < 0.5:
            what = Observable("cranking", "battery-positive-post", "s-terminal")
        else:
            side = positive if chance.random() < 0.6 else ground
            start, end = np.sort(chance.choice(len(side), 2, replace=False))
            what = Observable("cranking", side[start], side[end])
        together = int(chance.integers(1, 3)) if what.state == "cranking" and chance.random() < 0.5 else None
        change = 1.0 + model.priors.crank_change * chance.standard_normal(1)
        true = float(crank(model, one, change).reads(what, one.source_v)[0])
        shown = true + float(_spread(model, what, np.array([true]))[0]) * chance.standard_normal()
        if chance.random() < model.priors.wrong_reading:
            shown = float(chance.random() * _FULL_V)
        measurements.append(Measurement(number, what, round(shown, 3), together))
    names = [model.sites[n] for n in rows.site[which[0]] if n >= 0]
    label = " and ".join(f"{site.part} {site.fault}" for site in names) or "healthy"
    return Evidence(tuple(measurements), symptom), label


def check_by_hand(model: FaultModel, many: int, chance: Generator) -> float:
    """The largest difference in volts between the three loops solved by hand and `operate`, over random vehicles."""
    rows = Rows.of(model)
    which = chance.integers(0, len(rows.prior), many)
    drawn = draw(model, rows, which, chance)
    cranked = crank(model, drawn)
    points = [p for p in model.circuit.points if p in cranked.volts]
    spans = [Observable("cranking", p, "battery-negative-post") for p in points[:-1]]
    worst = 0.0
    for row in range(many):
        condition = Condition(
            ohm={name: float(ohm[row]) for name, ohm in drawn.ohm.items() if name not in (BATTERY, MOTOR)},
            source_v=float(drawn.source_v[row]),
            battery_ohm=float(drawn.ohm[BATTERY][row]),
            demand_a=float(drawn.demand_a[row]),
            rotor_ratio=float(drawn.ohm[MOTOR][row]) / model.circuit.rotor_ohm,
            coil_works=bool(drawn.coil_works[row]),
        )
        values, heard, amps = operate(model.circuit, condition, spans)
        mine = np.array([cranked.volts[p][row] for p in points[:-1]])
        worst = max(worst, float(np.abs(values - mine).max()), abs(amps - float(cranked.motor_a[row])))
        if heard is not HEARD[int(cranked.heard[row])]:
            raise AssertionError(f"heard {heard}, by hand {HEARD[int(cranked.heard[row])]}: {condition}")
    return worst


def compare(
    model: FaultModel, evidence: Evidence, samples: int, chance: Generator
) -> tuple[dict[str, float], Estimate, float]:
    """The belief's odds, brute force's, and the largest difference of any repair."""
    odds = Belief(model, evidence).repair_probability
    brute = estimate(model, evidence, samples, chance)
    return odds, brute, max(abs(odds[name] - brute.odds[name]) for name in odds)


def main(arguments: Sequence[str] | None = None) -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--samples", type=int, default=4_000_000)
    words.add_argument("--sets", type=int, default=10)
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args(arguments)
    model = desk(CIRCUIT).fault_model(History())
    chance = np.random.default_rng(asked.seed)
    print(f"by hand against operate: {check_by_hand(model, 300, chance):.1e} V")
    for number in range(asked.sets):
        evidence, label = random_evidence(model, np.random.default_rng([asked.seed, number]))
        began = time.perf_counter()
        odds, brute, worst = compare(model, evidence, asked.samples, chance)
        print(
            f"\nset {number}: {label}, {evidence.symptom}, {len(evidence.measurements)} readings; largest difference "
            f"{worst:.4f}, standard error {brute.error:.4f}, counts for {brute.effective:.0f}, "
            f"{time.perf_counter() - began:.0f} s"
        )
        for m in evidence.measurements:
            where = m.what.clamp or f"{m.what.red} to {m.what.black}"
            print(f"    {m.what.state} {where}: {m.value} (crank {m.crank})")
        for name in sorted(odds, key=lambda n: -max(odds[n], brute.odds[n]))[:6]:
            print(f"  {name:<32}{odds[name]:>8.4f}{brute.odds[name]:>8.4f}{odds[name] - brute.odds[name]:>+9.4f}")


if __name__ == "__main__":
    main()
