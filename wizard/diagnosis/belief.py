"""The odds of every fault after the readings, and what each fault says any other span would read.

Given one hypothesis and one cell of cranking current, readings are jointly Gaussian: their means come from the load
model; they vary together with the current within the cell, the battery's volts, the tolerances of sound parts and the
severity within its cell, and apart with the meter and with each crank's own current. Sums over hypotheses and current
cells are exact for the hypotheses that are kept; there is no sampling. Any reading may be wrong, one or two at a time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wizard.circuit.load import HEARD, Added, Answers, Heard, Held, rest_volts
from wizard.circuit.network import BATTERY, MOTOR, OPEN_OHM, Floats, Ints, Network, Observable
from wizard.diagnosis.faults import SOURCE_SPREAD, FaultModel, Hypotheses, evidence_weight

# Cells of the logarithm of the current that the engine asks for, in standard deviations: (middle, width, share).
_CURRENT_FINE = (
    (-1.7, 0.42, 0.10),
    (-0.85, 0.42, 0.24),
    (0.0, 0.42, 0.32),
    (0.85, 0.42, 0.24),
    (1.7, 0.42, 0.10),
)
_CURRENT_COARSE = ((-1.25, 0.7, 0.25), (0.0, 0.7, 0.5), (1.25, 0.7, 0.25))
# A charged battery's own volts; the spreads of its internal resistance and the rotor's. Common practice, no source.
SOURCE_V = 12.6
_BATTERY_SPREAD, _ROTOR_SPREAD = 0.4, 0.1
# What a model of lumped resistances can't say, as a share of a reading.
_MODEL_SHARE = 0.015
# Of wrong readings, those that show nothing: no load or no contact. The rest may show anything that a battery can.
_WRONG_SHOWS_NOTHING, _NOTHING_V = 0.35, 0.03
# Which hypotheses are kept for the exact sum: those within this many nats of the best, and no more than so many.
_KEEP_NATS, _KEEP_MOST = 14.0, 2200
_CHUNK = 1500
# How likely a complaint is to be told as each of HEARD when the starter does each of HEARD.
_TOLD = np.array(
    [
        [0.78, 0.12, 0.05, 0.025, 0.025],
        [0.20, 0.62, 0.10, 0.05, 0.03],
        [0.06, 0.12, 0.68, 0.06, 0.08],
        [0.05, 0.10, 0.15, 0.64, 0.06],
        [0.05, 0.04, 0.10, 0.04, 0.77],
    ]
)
# A fault that comes and goes need not be there while the readings are taken: the complaint says this much less.
_INTERMITTENT_POWER = 0.35


@dataclass(frozen=True)
class Measurement:
    """One reading: volts or amps, or None for an open span. Readings with the same `crank` shared one crank."""

    number: int
    what: Observable
    value: float | None
    crank: int | None = None


@dataclass(frozen=True)
class Evidence:
    """Everything that was found out about the circuit as it is now.

    `tables` are rows of families' likelihoods, one for each answer that has them.
    """

    measurements: tuple[Measurement, ...] = ()
    symptom: Heard | None = None
    intermittent: bool = False
    tables: tuple[Mapping[str, float], ...] = ()


@dataclass(frozen=True)
class _Predicted:
    """Means (k, m) and what they vary with, one standard deviation each; tolerances (2, m, b) are per amp.

    `own` (k, m) is the variance that no other reading shares.
    """

    mean: Floats
    current: Floats
    crank: Floats
    source: Floats
    ohm_1: Floats
    ohm_2: Floats
    motor_a: Floats
    turning: Ints
    tolerance: Floats
    own: Floats

    def variance(self) -> Floats:
        """Of each observable by itself (k, m)."""
        together = np.stack([(rows**2).sum(axis=1) for rows in self.tolerance])[self.turning]
        return (
            self.current**2
            + self.crank**2
            + self.source**2
            + self.ohm_1**2
            + self.ohm_2**2
            + self.motor_a[:, None] ** 2 * together
            + self.own
        )

    def covariance(self, other: _Predicted, same_crank: Floats) -> Floats:
        """Between these observables and others (k, m, n), without what each has of its own; `same_crank` (m, n)."""
        total = np.einsum("kam,kan->kmn", self._shared(), other._shared())
        together = self.tolerance @ np.swapaxes(other.tolerance, 1, 2)
        total += (self.motor_a**2)[:, None, None] * together[self.turning]
        if same_crank.any():
            total += self.crank[:, :, None] * other.crank[:, None, :] * same_crank
        return total

    def _shared(self) -> Floats:
        return np.stack([self.current, self.source, self.ohm_1, self.ohm_2], axis=1)


@dataclass(frozen=True)
class _Latent:
    """What each of k hypotheses says of battery and engine: volts, amps, and the spreads within its cells."""

    source_v: Floats
    source_spread: Floats
    demand_a: Floats
    width: Floats
    spread_ohm: Floats

    def take(self, rows: Ints) -> _Latent:
        """The same for some hypotheses only."""
        return _Latent(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class _Chosen:
    """The k hypotheses that are kept, each with one cell of current."""

    site: Ints
    added: Added
    latent: _Latent
    repair: Ints
    broken: tuple[frozenset[str], ...]
    rest_group: Ints

    def take(self, rows: Ints) -> _Chosen:
        """Some of the hypotheses only."""
        return _Chosen(
            self.site[rows],
            self.added.take(rows),
            self.latent.take(rows),
            self.repair[rows],
            self.broken,
            self.rest_group[rows],
        )


class Belief:
    """The posterior over hypotheses, and what follows from it. Build it with a model and the evidence."""

    def __init__(self, model: FaultModel, evidence: Evidence) -> None:
        self.model = model
        self.evidence = evidence
        scale = model.circuit.scale
        self._values = np.array([m.value for m in evidence.measurements if m.value is not None])
        self._numeric = tuple(m for m in evidence.measurements if m.value is not None)
        self._open = tuple(m for m in evidence.measurements if m.value is None)
        self._source_spread = SOURCE_SPREAD * scale
        low, typical, high = model.circuit.demand_a
        self._log_spread = float(np.log(high / low)) / (2 * 1.645)
        self._typical = typical
        self._shares = self._tolerance_shares()
        self._infer()

    # --- what each hypothesis predicts -------------------------------------------------------------------------

    def _tolerance_shares(self) -> Floats:
        """Each branch's current per amp of the motor's, times its healthy spread in ohm (b,)."""
        load, circuit = self.model.load, self.model.circuit
        closed = load.networks.closed
        motor = closed.index[MOTOR]
        per_amp = closed.opposing_a[:, motor] / closed.opposing_a[motor, motor]
        spread = np.zeros(len(closed.branches))
        for name, passive in circuit.parts.items():
            spread[closed.index[name]] = passive.spread_ohm
        spread[closed.index[BATTERY]] = _BATTERY_SPREAD * circuit.battery_ohm
        spread[motor] = _ROTOR_SPREAD * circuit.rotor_ohm
        return per_amp * spread

    def _tolerance(self, observables: Sequence[Observable]) -> Floats:
        """How observables follow sound parts' tolerances, per amp of the motor (2, m, b): stalled, turning."""
        closed: Network = self.model.load.networks.closed
        motor = closed.index[MOTOR]
        rows = closed.rows(observables).opposing
        pinned = rows[:, motor] / closed.opposing_a[motor, motor]
        stalled = rows * self._shares
        turning = (rows - pinned[:, None] * closed.opposing_a[motor]) * self._shares
        return np.stack([stalled, turning])

    def _meter(self, observables: Sequence[Observable], mean: Floats) -> Floats:
        """Variance of the meter and of what the model can't say, for readings around these means (k, m)."""
        meter = self.model.priors.meter
        clamp = np.array([bool(what.clamp) for what in observables])
        model = np.array([_MODEL_SHARE if what.state == "cranking" else 0.0 for what in observables])
        least = np.where(clamp, meter.clamp_amps, meter.volts) ** 2
        share = (np.where(clamp, meter.clamp_share, meter.share) + model) ** 2
        return share * (mean * mean) + least

    def _predict(
        self,
        observables: Sequence[Observable],
        answers: Answers,
        who: _Latent,
        rest: Floats,
        tolerance: Floats,
        cranking: Ints,
    ) -> tuple[_Predicted, Held]:
        """Predictions of all observables: those taken cranking from the load model, the others from rest (k, m)."""
        held = self.model.load.hold(answers, who.demand_a)
        resting = np.setdiff1d(np.arange(len(observables)), cranking)

        def spread(loaded: Floats, at_rest: Floats | float = 0.0) -> Floats:
            if not len(resting):
                return loaded
            whole = np.zeros((len(who.source_v), len(observables)))
            whole[:, cranking] = loaded
            whole[:, resting] = at_rest
            return whole

        rest = rest[:, resting]
        mean = spread(held.values, rest * who.source_v[:, None])
        current = spread(held.per_amp * (who.demand_a * who.width)[:, None])
        crank = spread(held.per_amp * (who.demand_a * self.model.priors.crank_change)[:, None])
        source = spread(held.per_volt * who.source_spread[:, None], rest * who.source_spread[:, None])
        ohm_1 = spread(held.per_ohm_1 * who.spread_ohm[:, :1])
        ohm_2 = spread(held.per_ohm_2 * who.spread_ohm[:, 1:])
        return (
            _Predicted(
                mean,
                current,
                crank,
                source,
                ohm_1,
                ohm_2,
                held.motor_a,
                held.turning.astype(np.intp),
                tolerance,
                self._meter(observables, mean),
            ),
            held,
        )

    def _rest(self, observables: Sequence[Observable], broken: Sequence[frozenset[str]], group: Ints) -> Floats:
        """Readings at rest per volt of the battery (k, m); zero for observables taken while cranking."""
        role = self.model.circuit.roles
        posts = {role["battery.positive"], role["battery.negative"]}
        table = np.zeros((len(broken), len(observables)))
        for column, what in enumerate(observables):
            if what.state != "resting" or what.clamp:
                continue
            if {what.red, what.black} == posts:
                table[:, column] = 1.0 if what.red == role["battery.positive"] else -1.0
                continue
            for row, names in enumerate(broken):
                table[row, column] = self.model.rest_volts(what, names)
        return table[group]

    # --- the posterior -----------------------------------------------------------------------------------------

    def _wrong_log(self) -> Floats:
        """Log density of a wrong reading at each value (m,)."""
        values = self._values
        clamp = np.array([bool(m.what.clamp) for m in self._numeric])
        full = np.where(clamp, 1000.0, 13.5 * self.model.circuit.scale)
        nothing = np.where(clamp, 5.0, _NOTHING_V)
        near = np.exp(-0.5 * (values / nothing) ** 2) / (nothing * np.sqrt(2 * np.pi))
        return np.log(_WRONG_SHOWS_NOTHING * near + (1 - _WRONG_SHOWS_NOTHING) / full)

    def _told_log(self, site: Ints, heard: Ints) -> Floats:
        """Log likelihood of the complaint and of everything that was answered (n,)."""
        total = np.zeros(len(heard))
        for table in self.evidence.tables:
            total += np.log(evidence_weight(site, self.model.sites, heard, table))
        symptom = self.evidence.symptom
        if symptom is not None:
            power = _INTERMITTENT_POWER if self.evidence.intermittent else 1.0
            total += power * np.log(_TOLD[heard, HEARD.index(symptom)])
        return total

    def answer_weight(self, table: Mapping[str, float]) -> Floats:
        """How likely an answer is under each kept hypothesis (k,)."""
        return evidence_weight(self.chosen.site, self.model.sites, self.held.heard, table)

    def _open_log(self, mean: Floats, source_v: Floats) -> Floats:
        """Log likelihood of spans that read open: the whole battery must show across them."""
        shows = np.abs(mean) > 0.75 * source_v[:, None]
        return np.where(shows, 0.0, np.log(self.model.priors.wrong_reading)).sum(axis=1)

    def _screen(self, hypotheses: Hypotheses, cells: tuple[tuple[float, float, float], ...]) -> Floats:
        """Log weight of each hypothesis and current cell (n, cells), readings taken as independent."""
        scale, priors = self.model.circuit.scale, self.model.priors
        loaded = [i for i, m in enumerate(self._numeric) if m.what.state == "cranking"]
        resting = [i for i, m in enumerate(self._numeric) if m.what.state != "cranking"]
        cranking = [*(self._numeric[i].what for i in loaded), *(m.what for m in self._open)]
        at_rest = [self._numeric[i].what for i in resting]
        tolerance = (self._tolerance(cranking) ** 2).sum(axis=2)[:, : len(loaded)]
        wrong = priors.wrong_reading
        wrong_log = np.log(wrong) + self._wrong_log() if self._numeric else np.zeros(0)

        def fit(values: Floats, mean: Floats, variance: Floats, lost: Floats) -> Floats:
            right = np.log1p(-wrong) - 0.5 * ((values - mean) ** 2 / variance + np.log(2 * np.pi * variance))
            return np.logaddexp(right, lost).sum(axis=1)

        scores = np.empty((len(hypotheses), len(cells)))
        for start in range(0, len(hypotheses), _CHUNK):
            rows = np.arange(start, min(start + _CHUNK, len(hypotheses)))
            source_v = SOURCE_V * scale * hypotheses.source_share[rows]
            source_spread = scale * hypotheses.source_spread[rows]
            spread_ohm = hypotheses.spread_ohm[rows]
            answers = self.model.load.answers(hypotheses.added.take(rows), cranking, source_v)
            base = hypotheses.log_prior[rows]
            if resting:
                rest = self._rest(at_rest, hypotheses.broken, hypotheses.rest_group[rows])
                mean = rest * source_v[:, None]
                variance = (rest * source_spread[:, None]) ** 2 + self._meter(at_rest, mean)
                base = base + fit(self._values[resting], mean, variance, wrong_log[resting])
            for cell, (middle, width, share) in enumerate(cells):
                demand = self._typical * np.exp(middle * self._log_spread) * hypotheses.demand[rows]
                held = self.model.load.hold(answers, demand)
                score = base + np.log(share) + self._told_log(hypotheses.site[rows], held.heard)
                if loaded:
                    many = len(loaded)
                    mean = held.values[:, :many]
                    change = (width * self._log_spread) ** 2 + priors.crank_change**2
                    variance = held.per_amp[:, :many] ** 2 * (change * demand**2)[:, None]
                    variance += held.per_volt[:, :many] ** 2 * (source_spread**2)[:, None]
                    variance += held.per_ohm_1[:, :many] ** 2 * spread_ohm[:, :1] ** 2
                    variance += held.per_ohm_2[:, :many] ** 2 * spread_ohm[:, 1:] ** 2
                    variance += tolerance[held.turning.astype(np.intp)] * (held.motor_a**2)[:, None]
                    variance += self._meter(cranking[:many], mean)
                    score = score + fit(self._values[loaded], mean, variance, wrong_log[loaded])
                if self._open:
                    score = score + self._open_log(held.values[:, len(loaded) :], source_v)
                scores[rows, cell] = score
        return scores

    def _infer(self) -> None:
        model = self.model
        sets: list[tuple[Hypotheses, tuple[tuple[float, float, float], ...]]] = [(model.singles, _CURRENT_FINE)]
        if model.priors.two_faults > 0:
            sets.append((model.pairs, _CURRENT_COARSE))
        scores = [self._screen(hypotheses, cells) for hypotheses, cells in sets]
        flat = np.concatenate([score.ravel() for score in scores])
        best = float(flat.max())
        many = len(self._numeric)
        most = int(min(_KEEP_MOST, max(100, 4e5 / max(many, 1) ** 2)))
        order = np.argsort(flat)[::-1]
        kept = order[:most]
        kept = kept[flat[kept] > best - _KEEP_NATS]
        sizes = np.cumsum([0, *(score.size for score in scores)])
        parts: list[tuple[Hypotheses, Ints, Floats, Floats]] = []
        picked: list[Ints] = []
        for number, (hypotheses, cells) in enumerate(sets):
            own = kept[(kept >= sizes[number]) & (kept < sizes[number + 1])]
            rows, cell = np.divmod(own - sizes[number], len(cells))
            middle, width = (np.array([c[i] for c in cells])[cell] * self._log_spread for i in (0, 1))
            parts.append((hypotheses, rows, middle, width))
            picked.append(own)
        kept = np.concatenate(picked)
        self.chosen = self._choose(parts)
        exact = self._exact(self._prior_log(parts, sets, scores, picked))
        # What was left out keeps the weight that the screening gave it, moved by as much as the kept moved.
        screened = flat[kept]
        shift = _log_sum(exact) - _log_sum(screened)
        left = np.delete(flat, kept) + shift
        total = np.logaddexp(_log_sum(exact), _log_sum(left)) if len(left) else _log_sum(exact)
        self.weight: Floats = np.exp(exact - total)
        self._left_out(sets, scores, kept, shift - total)

    def _prior_log(
        self,
        parts: list[tuple[Hypotheses, Ints, Floats, Floats]],
        sets: list[tuple[Hypotheses, tuple[tuple[float, float, float], ...]]],
        scores: list[Floats],
        picked: list[Ints],
    ) -> Floats:
        """Log of prior and current cell's share for each kept hypothesis (k,)."""
        out: list[Floats] = []
        offset = 0
        for (hypotheses, rows, _, _), (_, cells), score, own in zip(parts, sets, scores, picked, strict=True):
            cell = (own - offset) % len(cells)
            share = np.log(np.array([c[2] for c in cells]))[cell]
            out.append(hypotheses.log_prior[rows] + share)
            offset += score.size
        return np.concatenate(out)

    def _choose(self, parts: list[tuple[Hypotheses, Ints, Floats, Floats]]) -> _Chosen:
        broken: list[frozenset[str]] = []
        groups: list[Ints] = []
        for hypotheses, rows, _, _ in parts:
            used, group = np.unique(hypotheses.rest_group[rows], return_inverse=True)
            groups.append(group + len(broken))
            broken += [hypotheses.broken[index] for index in used]

        def join(get: str) -> np.ndarray:
            return np.concatenate([getattr(hypotheses, get)[rows] for hypotheses, rows, _, _ in parts])

        added = [hypotheses.added.take(rows) for hypotheses, rows, _, _ in parts]
        middle = np.concatenate([m for _, _, m, _ in parts])
        return _Chosen(
            join("site"),
            Added(
                np.concatenate([a.branch for a in added]),
                np.concatenate([a.ohm for a in added]),
                np.concatenate([a.coil_works for a in added]),
            ),
            _Latent(
                SOURCE_V * self.model.circuit.scale * join("source_share"),
                self.model.circuit.scale * join("source_spread"),
                self._typical * np.exp(middle) * join("demand"),
                np.concatenate([w for _, _, _, w in parts]),
                join("spread_ohm"),
            ),
            join("repair"),
            tuple(broken),
            np.concatenate(groups),
        )

    def _predict_with_heard(self, observables: Sequence[Observable], chosen: _Chosen) -> tuple[_Predicted, Held]:
        """What these hypotheses predict for observables before the readings, and what is heard under each."""
        cranking = np.array([i for i, what in enumerate(observables) if what.state == "cranking"], dtype=np.intp)
        tolerance = self._tolerance(observables)
        tolerance[:, [i for i, what in enumerate(observables) if what.state != "cranking"]] = 0.0
        return self._predict(
            observables,
            self.model.load.answers(chosen.added, [observables[i] for i in cranking], chosen.latent.source_v),
            chosen.latent,
            self._rest(observables, chosen.broken, chosen.rest_group),
            tolerance,
            cranking,
        )

    def _exact(self, prior_log: Floats) -> Floats:
        """Log weight of each kept hypothesis with the readings' full covariance (k,)."""
        observables = [m.what for m in self._numeric]
        many = len(observables)
        self._predicted, held = self._predict_with_heard(observables, self.chosen)
        self.held = held
        self.wrong: Floats = np.zeros((len(prior_log), many))
        total = prior_log + self._told_log(self.chosen.site, held.heard)
        if self._open:
            opened, _ = self._predict_with_heard([m.what for m in self._open], self.chosen)
            total = total + self._open_log(opened.mean, self.chosen.latent.source_v)
        if not many:
            self._precision = np.zeros((len(prior_log), 0, 0))
            self._pull = np.zeros((len(prior_log), 0))
            return total
        covariance = self._predicted.covariance(self._predicted, self._same_crank())
        covariance[:, np.arange(many), np.arange(many)] += self._predicted.own
        residual = self._values - self._predicted.mean
        precision = np.linalg.inv(covariance)
        pull = np.einsum("kij,kj->ki", precision, residual)
        _, log_det = np.linalg.slogdet(covariance)
        fits = -0.5 * (np.einsum("ki,ki->k", pull, residual) + log_det + many * np.log(2 * np.pi))
        likelihood, self.wrong = _allow_wrong(fits, precision, pull, self.model.priors.wrong_reading, self._wrong_log())
        # A reading that a hypothesis takes for wrong tells it nothing about its current and severity.
        doubtful = self.wrong > 0.5
        if doubtful.any():
            rows = np.flatnonzero(doubtful.any(axis=1))
            widened = covariance[rows]
            at, which = np.nonzero(doubtful[rows])
            widened[at, which, which] += 1e6
            precision[rows] = np.linalg.inv(widened)
            pull[rows] = np.einsum("kij,kj->ki", precision[rows], residual[rows])
        self._precision, self._pull = precision, pull
        return total + likelihood

    def _same_crank(self) -> Floats:
        """Which readings were taken in one crank (m, m)."""
        crank = [m.crank if m.crank is not None else -m.number - 1 for m in self._numeric]
        return np.equal.outer(crank, crank).astype(float)

    def _left_out(
        self,
        sets: list[tuple[Hypotheses, tuple[tuple[float, float, float], ...]]],
        scores: list[Floats],
        kept: Ints,
        shift: float,
    ) -> None:
        """Weight of what the exact sum left out, by repair and by site."""
        self._rest_repair = np.zeros(len(self.model.repairs))
        self._rest_site = np.zeros(len(self.model.sites) + 1)
        offset = 0
        for (hypotheses, cells), score in zip(sets, scores, strict=True):
            weight = np.exp(np.minimum(score.ravel() + shift, 0.0))
            own = kept[(kept >= offset) & (kept < offset + score.size)] - offset
            weight[own] = 0.0
            by_row = weight.reshape(-1, len(cells)).sum(axis=1)
            np.add.at(self._rest_repair, hypotheses.repair[:, 0], by_row)
            for end in (0, 1):
                np.add.at(self._rest_site, hypotheses.site[:, end], by_row)
            offset += score.size

    # --- what follows ------------------------------------------------------------------------------------------

    @cached_property
    def first_repair(self) -> Ints:
        """Under each kept hypothesis the repair to do first (k,).

        Of two faults it is the one that is the surer of the two, whatever the other may be; when both are as sure, the
        one that costs more volts.
        """
        repair = self.chosen.repair
        needed = np.zeros(len(self.model.repairs))
        both = repair[:, 0] != repair[:, 1]
        np.add.at(needed, repair[:, 0], self.weight)
        np.add.at(needed, repair[both, 1], self.weight[both])
        needed[-1] = 0.0
        second = both & (needed[repair[:, 1]] > 1.02 * needed[repair[:, 0]])
        return np.where(second, repair[:, 1], repair[:, 0])

    @cached_property
    def repair_probability(self) -> dict[str, float]:
        """Odds that each repair is the one to do first; they sum to 1."""
        total = self._rest_repair.copy()
        np.add.at(total, self.first_repair, self.weight)
        total /= total.sum()
        return dict(zip(self.model.repairs, total.tolist(), strict=True))

    @cached_property
    def site_probability(self) -> Floats:
        """Odds that each site is at fault, alone or beside another (s,)."""
        total = self._rest_site[: len(self.model.sites)].copy()
        for end in (0, 1):
            there = self.chosen.site[:, end] >= 0
            np.add.at(total, self.chosen.site[there, end], self.weight[there])
        return total

    def beside(self, repair: str) -> dict[int, float]:
        """Odds of each site that calls for another repair than this one, given that this one is needed."""
        wanted = self.model.repairs.index(repair)
        repairs, sites = self.chosen.repair, self.chosen.site
        needed = (repairs == wanted).any(axis=1)
        whole = float(self.weight[needed].sum())
        none = len(self.model.repairs) - 1
        odds: dict[int, float] = {}
        pairs = np.flatnonzero(needed & (sites[:, 1] >= 0) & (repairs != none).all(axis=1))
        for end in (0, 1):
            for row in pairs:
                number = int(sites[row, end])
                if self.model.sites[number].repair != repair:
                    odds[number] = odds.get(number, 0.0) + float(self.weight[row]) / whole
        return odds

    @cached_property
    def doubt(self) -> dict[int, float]:
        """Probability that each reading is wrong, by its number."""
        shares = (self.weight @ self.wrong) / max(self.weight.sum(), 1e-300)
        doubts = {m.number: float(share) for m, share in zip(self._numeric, shares, strict=True)}
        if self._open:
            mean = self._predict_with_heard([m.what for m in self._open], self.chosen)[0].mean
            fits = np.abs(mean) > 0.75 * self.chosen.latent.source_v[:, None]
            for m, share in zip(self._open, self.weight @ ~fits / self.weight.sum(), strict=True):
                doubts[m.number] = float(share)
        return doubts

    def excess_ohm(self, site: int) -> tuple[float, float, float] | None:
        """Low, middle and high (5, 50, 95 %) of a site's added resistance; None where it is not a resistance."""
        middles: list[Floats] = []
        spreads: list[Floats] = []
        weights: list[Floats] = []
        for end, loading in ((0, self._predicted.ohm_1), (1, self._predicted.ohm_2)):
            rows = np.flatnonzero(self.chosen.site[:, end] == site)
            load, precision = loading[rows], self._precision[rows]
            step = np.einsum("km,km->k", load, self._pull[rows])
            shrink = 1.0 - np.einsum("ki,kij,kj->k", load, precision, load)
            wide = self.chosen.latent.spread_ohm[rows, end]
            middles.append(self.chosen.added.ohm[rows, end] + wide * step)
            spreads.append(wide * np.sqrt(np.clip(shrink, 0.0, 1.0)))
            weights.append(self.weight[rows])
        middle, spread, weight = (np.concatenate(x) for x in (middles, spreads, weights))
        if not weight.sum() > 0:
            return None
        values = np.concatenate([middle + z * spread for z in (-1.5, -0.5, 0.5, 1.5)])
        mass = np.concatenate([weight * w for w in (0.16, 0.34, 0.34, 0.16)])
        low, mid, high = _quantiles(values, mass, (0.05, 0.5, 0.95))
        return max(low, 0.0), max(mid, 0.0), max(high, 0.0)

    def open_share(self, site: int) -> float:
        """Of the odds that a site is at fault, the share that it is a complete break."""
        chosen, broken, total = self.chosen, 0.0, 0.0
        for end in (0, 1):
            own = chosen.site[:, end] == site
            total += float(self.weight[own].sum())
            broken += float(self.weight[own & (chosen.added.ohm[:, end] >= OPEN_OHM)].sum())
        return broken / total if total > 0 else 0.0

    @cached_property
    def _current(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the motor's current under each kept hypothesis (k,)."""
        chosen = self.chosen
        step = np.einsum("km,km->k", self._predicted.current, self._pull)
        shrink = 1.0 - np.einsum("ki,kij,kj->k", self._predicted.current, self._precision, self._predicted.current)
        turning = self.held.turning
        wide = chosen.latent.demand_a * chosen.latent.width
        mean = np.where(turning, chosen.latent.demand_a + wide * step, self.held.motor_a)
        spread = np.where(turning, wide * np.sqrt(np.clip(shrink, 0.0, 1.0)), 0.03 * self.held.motor_a)
        return np.maximum(mean, 0.0), spread

    @cached_property
    def current_a(self) -> tuple[float, float]:
        """Mean and standard deviation of the current that flows in the motor while start is held."""
        mean, spread = self._current
        weight = self.weight / self.weight.sum()
        middle = float(weight @ mean)
        return middle, float(np.sqrt(weight @ (spread**2 + (mean - middle) ** 2)))

    def healthy(self, observables: Sequence[Observable]) -> tuple[Floats, Floats]:
        """Mean and standard deviation of what a sound circuit would read at this current (m,), (m,).

        Where no current flows at all (a break), it is the current that the engine asks for.
        """
        middle, spread = self.current_a
        if middle < 0.25 * self._typical:
            middle, spread = self._typical, self._typical * self._log_spread
        load = self.model.load
        one = np.array([True])
        none = Added(np.array([[load.index[BATTERY], load.index[MOTOR]]]), np.zeros((1, 2)), one)
        loaded = [what for what in observables if what.state == "cranking"]
        source = np.array([SOURCE_V * self.model.circuit.scale])
        held = load.hold(load.answers(none, loaded, source), np.array([middle]))
        tolerance = (self._tolerance(loaded)[1] ** 2).sum(axis=1) * middle**2
        wide = np.sqrt((held.per_amp[0] * spread) ** 2 + tolerance + (held.per_volt[0] * self._source_spread) ** 2)
        rest = rest_volts(self.model.circuit, [w for w in observables if w.state != "cranking"])
        means, wides, resting = iter(held.values[0]), iter(wide), iter(rest)
        out = np.empty((2, len(observables)))
        for number, what in enumerate(observables):
            if what.state == "cranking":
                out[:, number] = next(means), next(wides)
            else:
                share = next(resting)
                out[:, number] = share * source[0], abs(share) * self._source_spread
        return out[0], out[1]

    def without(self, number: int) -> tuple[Floats, Floats, Floats]:
        """What hypotheses that take a reading for wrong would have it read: means, spreads, weights (k,), to sum 1."""
        column = next((i for i, m in enumerate(self._numeric) if m.number == number), None)
        what = next(m.what for m in self.evidence.measurements if m.number == number)
        odds = self.weight * (self.wrong[:, column] if column is not None else 1.0)
        rows = np.flatnonzero(odds > 1e-6 * odds.max()) if odds.max() > 0 else np.arange(len(odds))
        mean, spread = self.foresee([what], rows)
        weight = odds[rows] / odds[rows].sum() if odds[rows].sum() > 0 else np.full(len(rows), 1.0 / len(rows))
        return mean[:, 0], spread[:, 0], weight

    def foresee(self, observables: Sequence[Observable], rows: Ints) -> tuple[Floats, Floats]:
        """Mean and standard deviation (k, m) of new readings under the kept hypotheses `rows`, given all so far."""
        new, _ = self._predict_with_heard(observables, self.chosen.take(rows))
        mean, variance = new.mean, new.variance()
        if len(self._numeric):
            old = _Predicted(
                *(getattr(self._predicted, name)[rows] for name in _BY_ROW),
                tolerance=self._predicted.tolerance,
                own=self._predicted.own[rows],
            )
            none = np.zeros((len(observables), len(self._numeric)))
            cross = new.covariance(old, none)
            mean = mean + np.einsum("kmn,kn->km", cross, self._pull[rows])
            gain = cross @ self._precision[rows]
            variance = variance - np.einsum("kmn,kmn->km", gain, cross)
        return mean, np.sqrt(np.maximum(variance, 1e-8))


_BY_ROW = ("mean", "current", "crank", "source", "ohm_1", "ohm_2", "motor_a", "turning")


def _log_sum(values: Floats) -> float:
    if not len(values):
        return -np.inf
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


def _quantiles(values: Floats, mass: Floats, at: Sequence[float]) -> list[float]:
    order = np.argsort(values)
    share = np.cumsum(mass[order])
    share /= share[-1]
    return [float(values[order][min(int(np.searchsorted(share, q)), len(order) - 1)]) for q in at]


def _allow_wrong(
    fits: Floats, precision: Floats, pull: Floats, wrong: float, wrong_log: Floats
) -> tuple[Floats, Floats]:
    """Log likelihood (k,) with none, one or two readings wrong, and each reading's odds of being wrong (k, m).

    Leaving a reading out of a joint Gaussian divides it by that reading's own conditional density.
    """
    many = len(wrong_log)
    own = np.einsum("kii->ki", precision)
    swap = np.log(wrong) - np.log1p(-wrong) + wrong_log
    one = fits[:, None] + 0.5 * (pull**2 / own + np.log(2 * np.pi / own)) + swap
    terms = [fits[:, None], one]
    if many >= 4:
        left, right = np.triu_indices(many, 1)
        a, b, c = own[:, left], own[:, right], precision[:, left, right]
        determinant = np.maximum(a * b - c * c, 1e-300)
        x, y = pull[:, left], pull[:, right]
        quadratic = (b * x * x - 2 * c * x * y + a * y * y) / determinant
        two = fits[:, None] + 0.5 * (quadratic - np.log(determinant)) + np.log(2 * np.pi)
        terms.append(two + swap[left] + swap[right])
    joined = np.concatenate(terms, axis=1)
    top = joined.max(axis=1, keepdims=True)
    share = np.exp(joined - top)
    whole = share.sum(axis=1, keepdims=True)
    share /= whole
    odds = share[:, 1 : many + 1].copy()
    if many >= 4:
        both = share[:, many + 1 :]
        for column in range(many):
            odds[:, column] += both[:, (left == column) | (right == column)].sum(axis=1)
    return (top + np.log(whole))[:, 0] + many * np.log1p(-wrong), odds
