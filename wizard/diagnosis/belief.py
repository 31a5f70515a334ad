"""The odds of every fault after the readings, and what each fault says any other span would read.

Given one hypothesis and one cell of cranking current, readings are jointly Gaussian: their means come from the load
model; they vary together with the current within the cell, the battery's volts, the tolerances of sound parts and the
severity within its cell, and apart with the meter and with each crank's own current. Sums over hypotheses and current
cells are exact for the hypotheses that are kept; there is no sampling. Any reading may be wrong, one or two at a time.

A reading belongs to a *context*: how many repairs had been done, and whether a fault that comes and goes was away at
that moment. A hypothesis may show another cell of severity in each context, so one belief spans the whole job.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from functools import cached_property

import numpy as np

from wizard.circuit.load import Added, Answers, Held, Readout, rest_volts
from wizard.circuit.network import BATTERY, MOTOR, OPEN_OHM, Floats, Ints, Observable
from wizard.diagnosis.evidence import Context, Evidence
from wizard.diagnosis.faults import SOURCE_SPREAD, FaultModel, Hypotheses, Site, evidence_weight
from wizard.diagnosis.likelihood import Likelihood
from wizard.diagnosis.prediction import (
    CURRENT,
    CURRENT_COARSE,
    CURRENT_FINE,
    OHM,
    PARTS,
    SOURCE_V,
    Chosen,
    Flags,
    Predictor,
    Variant,
)

# Which hypotheses are kept for the exact sum: all if they are no more than so many, else as many of those within this
# many nats of the best.
_KEEP_NATS, _KEEP_MOST = 14.0, 2600
_TIE_NATS = 1e-7
# Severities further from the middle of their cell than so many standard deviations are predicted where they lie, up to
# the farthest, for hypotheses within so many nats of the best.
_STRAIGHT, _FARTHEST, _NEAR_NATS = 0.3, 2.0, 8.0
# Volts that differ by less than this share are even.
_EVEN = 1e-6
# With more than a few readings, no more hypotheses than so many are told apart by the current: those that are likeliest
# with it in one cell, and not further than so many nats below the best, which are out.
_MANY, _FEW, _ROUGH_NATS, _WHOLE_CURRENT = 3000, 3, 18.0, ((0.0, 1.0, 1.0),)
# Hypotheses, their cells of current, a variant, which of them it is of, and their log weight before any reading.
_Block = tuple[Hypotheses, Sequence[tuple[float, ...]], Variant, Ints, Floats]


class Belief:
    """The posterior over hypotheses, and what follows from it. Build it with a model and the evidence."""

    def __init__(self, model: FaultModel, evidence: Evidence) -> None:
        self.model = model
        self.evidence = evidence
        self.now = evidence.now
        # What is wrong is what shows while the fault acts up, whether it does now or not.
        self.acting = Context(len(evidence.repairs))
        self._predictor = Predictor(model, evidence.repairs, comes_and_goes=evidence.intermittent)
        self._likelihood = Likelihood(self._predictor, evidence)
        # By repair, in the model's order: the one that is called for once others were done.
        self._calls_for = np.arange(len(model.repairs))
        for site in model.sites:
            self._calls_for[model.repairs.index(site.repair)] = model.repairs.index(self.repair_of(site))
        # Mean and standard deviation of what a sound circuit would read, as far as asked.
        self._sound: dict[Observable, tuple[float, float]] = {}
        self._infer()

    def _infer(self) -> None:
        model = self.model
        sets: list[tuple[Hypotheses, Sequence[tuple[float, ...]]]] = [(model.singles, CURRENT_FINE)]
        if model.priors.two_faults > 0:
            sets.append((model.pairs, CURRENT_COARSE))
        blocks: list[_Block] = []
        scores: list[Floats] = []
        best = -np.inf
        for hypotheses, cells in sets:
            for variant, rows, log in self._likelihood.variants(hypotheses):
                base, every = log + hypotheses.log_prior[rows], True
                if len(rows) > _MANY and len(self._likelihood.numeric) > _FEW:
                    rough = self._likelihood.screen(hypotheses, variant, rows, base, _WHOLE_CURRENT)[:, 0]
                    best = max(best, float(rough.max()))
                    near = rough > best - _ROUGH_NATS
                    # A hair below the last one, so that equals stay or go together.
                    likeliest = rough > np.partition(rough, -_MANY)[-_MANY] - _TIE_NATS
                    over = near & ~likeliest
                    blocks.append((hypotheses, _WHOLE_CURRENT, variant, rows[over], base[over]))
                    scores.append(rough[over, None])
                    rows, base, every = rows[near & likeliest], base[near & likeliest], False
                score = self._likelihood.screen(hypotheses, variant, rows, base, cells, every=every)
                best = max(best, float(score.max(initial=-np.inf)))
                blocks.append((hypotheses, cells, variant, rows, base))
                scores.append(score)
        flat = np.concatenate([score.ravel() for score in scores])
        ends = np.cumsum([0, *(score.size for score in scores)])
        most = int(min(_KEEP_MOST, max(100, 4e5 / max(len(self._likelihood.numeric), 1) ** 2)))
        kept = np.arange(len(flat))
        if len(flat) > most:
            # A hair below the last one kept, so that equals stay or go together whatever the order of the readings.
            last = np.partition(flat, -most)[-most] - _TIE_NATS
            kept = np.flatnonzero(flat > max(float(last), float(flat.max()) - _KEEP_NATS))
        parts: list[Chosen] = []
        priors_log: list[Floats] = []
        for number, (hypotheses, cells, variant, rows, base) in enumerate(blocks):
            own = kept[(kept >= ends[number]) & (kept < ends[number + 1])] - ends[number]
            row, cell = np.divmod(own, len(cells))
            middle, width, share = (np.array([c[i] for c in cells])[cell] for i in range(3))
            flags = np.full(len(own), variant.cured), np.full(len(own), variant.left)
            parts.append(Chosen(hypotheses.cell[rows[row]], *flags, middle, width, np.zeros((len(own), 4))))
            priors_log.append(base[row] + np.log(share))
        self.chosen = Chosen(*(np.concatenate([getattr(p, one.name) for p in parts]) for one in fields(Chosen)))
        exact = self._exact(np.concatenate(priors_log))
        # What was left out keeps the weight that the screening gave it, moved by as much as the kept moved.
        shift = _log_sum(exact) - _log_sum(flat[kept])
        left = np.delete(flat, kept) + shift
        total = np.logaddexp(_log_sum(exact), _log_sum(left)) if len(left) else _log_sum(exact)
        self.weight: Floats = np.exp(exact - total)
        self._left_out(blocks, scores, kept, ends, shift - total)

    def _exact(self, prior_log: Floats) -> Floats:
        """Log weight of each kept hypothesis with the readings' full covariance (k,).

        Readings bend with the severity, and those of a likely hypothesis may lie far from the middle of its cell: it is
        predicted once more where they put it.
        """
        self._fitted = self._likelihood.fit(self.chosen)
        total = prior_log + self._fitted.log
        step = self._severity_step()
        far: Flags = (np.abs(step) > _STRAIGHT).any(axis=1) & (total > total.max() - _NEAR_NATS)
        if len(rows := np.flatnonzero(far)):
            there = replace(self.chosen.take(rows), step=step[rows])
            again = self._likelihood.fit(there)
            # A straight line does not lead past the point where the engine stalls.
            same = np.flatnonzero(again.turning == self._fitted.turning[rows])
            self.chosen.step[rows[same]] = step[rows[same]]
            self._fitted.put(rows[same], again.take(same))
        return prior_log + self._fitted.log

    def _severity_step(self) -> Floats:
        """Where the readings put the severities, in standard deviations from the middle of their cells (k, 4)."""
        cells, cell = self.model.cells, self.chosen.cell
        both = np.concatenate([cell, cells.trace[cell]], axis=1)
        loads = self._fitted.predicted.loadings[:, :, OHM:PARTS]
        step = np.einsum("kmf,km->kf", loads, self._fitted.pull)
        # Not below a fifth of the middle.
        least = -0.8 * np.abs(cells.added_ohm[both]) / np.maximum(cells.spread_ohm[both], 1e-12)
        return np.clip(step, np.maximum(least, -_FARTHEST), _FARTHEST)

    def _left_out(
        self,
        blocks: Sequence[_Block],
        scores: list[Floats],
        kept: Ints,
        ends: Ints,
        shift: float,
    ) -> None:
        """Weight of what the exact sum left out, by repair and by site."""
        cells = self.model.cells
        self._rest_repair = np.zeros(len(self.model.repairs))
        self._rest_site = np.zeros(len(self.model.sites) + 1)
        for number, ((hypotheses, _, variant, rows, _), score) in enumerate(zip(blocks, scores, strict=True)):
            weight = np.ascontiguousarray(np.exp(np.minimum(score + shift, 0.0)))
            own = kept[(kept >= ends[number]) & (kept < ends[number + 1])] - ends[number]
            weight.reshape(-1)[own] = 0.0
            by_row = weight.sum(axis=1)
            flags = np.full(len(rows), variant.cured), np.full(len(rows), variant.left)
            shown = self._predictor.cells_in(hypotheses.cell[rows], *flags, self.acting)
            np.add.at(self._rest_repair, self._needed(shown)[:, 0], by_row)
            for end in (0, 1):
                np.add.at(self._rest_site, cells.site[shown[:, end]], by_row)

    def _needed(self, shown: Ints) -> Ints:
        """Repairs (n, 2) that cells call for, the one that costs more volts first, no repair last."""
        cells, none = self.model.cells, len(self.model.repairs) - 1
        repair = self._calls_for[cells.repair[shown]]
        volts = np.where(repair == none, -1.0, cells.by_volts[shown])
        return np.where((volts[:, 0] >= volts[:, 1])[:, None], repair, repair[:, ::-1])

    def repair_of(self, site: Site) -> str:
        """The repair that a site calls for now, when it is bad enough to call for any."""
        repair = site.repair_after(self.evidence.repairs)
        return repair if repair in self.model.repairs else site.repair

    def sites_of(self, repair: str) -> list[tuple[float, Site]]:
        """The sites that a repair is called for now, each with its odds to be at fault, the likeliest first."""
        odds = zip(self.site_probability.tolist(), self.model.sites, strict=True)
        return sorted((pair for pair in odds if self.repair_of(pair[1]) == repair), key=lambda pair: -pair[0])

    # --- what follows ------------------------------------------------------------------------------------------------

    @cached_property
    def shown(self) -> Ints:
        """Cells (k, 2) of the kept hypotheses in the circuit as it is now, with a fault that comes and goes there."""
        chosen = self.chosen
        return self._predictor.cells_in(chosen.cell, chosen.cured, chosen.left, self.acting)

    @cached_property
    def sites(self) -> Ints:
        """Sites at fault now under the kept hypotheses (k, 2), -1 for none."""
        return self.model.cells.site[self.shown]

    @cached_property
    def needed(self) -> Ints:
        """Repairs called for now under the kept hypotheses (k, 2), the costlier fault's first."""
        return self._needed(self.shown)

    @cached_property
    def first_repair(self) -> Ints:
        """Under each kept hypothesis the repair to do first (k,).

        Of two faults it is the one that is the surer of the two, whatever the other may be; when both are as sure, the
        one that costs more volts.
        """
        repair = self.needed
        odds, volts = np.zeros(len(self.model.repairs)), np.zeros(len(self.model.repairs))
        both = repair[:, 0] != repair[:, 1]
        cost = self._volts(repair)
        for end, counted in ((0, slice(None)), (1, both)):
            np.add.at(odds, repair[counted, end], self.weight[counted])
            np.add.at(volts, repair[counted, end], self.weight[counted] * cost[counted, end])
        odds[-1] = 0.0
        mean_v = volts / np.maximum(odds, 1e-300)
        first, second = repair[:, 0], repair[:, 1]
        surer = odds[second] > 1.02 * odds[first]
        as_sure = ~surer & (odds[first] <= 1.02 * odds[second])
        return np.where(both & (surer | (as_sure & (mean_v[second] > (1.0 + _EVEN) * mean_v[first]))), second, first)

    def _volts(self, repair: Ints) -> Floats:
        """Volts (k, 2) that the fault behind each repair costs under each kept hypothesis."""
        cells = self.model.cells
        own, volts = self._calls_for[cells.repair[self.shown]], cells.by_volts[self.shown]
        return np.where(own == repair, volts, volts[:, ::-1])

    @cached_property
    def repair_probability(self) -> dict[str, float]:
        """Odds that each repair is the one to do first; they sum to 1."""
        return self._shares(self.first_repair)

    def with_first(self, repair: str) -> dict[str, float]:
        """The same when this repair is done first wherever it is needed."""
        number = self.model.repairs.index(repair)
        return self._shares(np.where((self.needed == number).any(axis=1), number, self.first_repair))

    def _shares(self, first: Ints) -> dict[str, float]:
        """Odds of each repair, from the one that each kept hypothesis calls for first (k,)."""
        total = self._rest_repair.copy()
        np.add.at(total, first, self.weight)
        total /= total.sum()
        return dict(zip(self.model.repairs, total.tolist(), strict=True))

    @cached_property
    def needed_probability(self) -> dict[str, float]:
        """Odds that each repair is needed, first or beside another: of two faults both count."""
        total = self._rest_repair.copy()
        both = self.needed[:, 0] != self.needed[:, 1]
        np.add.at(total, self.needed[:, 0], self.weight)
        np.add.at(total, self.needed[both, 1], self.weight[both])
        total /= self._rest_repair.sum() + self.weight.sum()
        return dict(zip(self.model.repairs[:-1], total[:-1].tolist(), strict=True))

    def repair_beside(self, aside: str) -> Ints:
        """Under each kept hypothesis the repair to do first when one of them is set aside (k,)."""
        number = self.model.repairs.index(aside)
        other = np.where(self.needed[:, 0] == number, self.needed[:, 1], self.needed[:, 0])
        return np.where(self.first_repair == number, other, self.first_repair)

    @cached_property
    def site_probability(self) -> Floats:
        """Odds that each site is at fault now, alone or beside another (s,)."""
        total = self._rest_site[: len(self.model.sites)].copy()
        for end in (0, 1):
            there = self.sites[:, end] >= 0
            np.add.at(total, self.sites[there, end], self.weight[there])
        return total

    def beside(self, repair: str) -> dict[int, float]:
        """Odds of each site that calls for another repair than this one, given that this one is needed."""
        wanted, none = self.model.repairs.index(repair), len(self.model.repairs) - 1
        needed = (self.needed == wanted).any(axis=1)
        whole = float(self.weight[needed].sum())
        odds: dict[int, float] = {}
        for row in np.flatnonzero(needed & (self.needed != none).all(axis=1)):
            for number in map(int, self.sites[row]):
                if number >= 0 and self.repair_of(self.model.sites[number]) != repair:
                    odds[number] = odds.get(number, 0.0) + float(self.weight[row]) / whole
        return odds

    def answer_weight(self, table: Mapping[str, float]) -> Floats:
        """How likely an answer is under each kept hypothesis (k,)."""
        return evidence_weight(self.sites, self.model.sites, self._fitted.hearing, table)

    @cached_property
    def doubt(self) -> dict[int, float]:
        """Probability that each reading is wrong, by its number."""
        shares = (self.weight @ self._fitted.wrong) / max(self.weight.sum(), 1e-300)
        doubts: dict[int, float] = {}
        for m, share in zip(self._likelihood.numeric, shares, strict=True):
            doubts.setdefault(m.number, float(share))
        for m in self._likelihood.opened:
            mean = self._predictor.predict([m.what], m.context, self.chosen)[0].mean[:, 0]
            fits = np.abs(mean) > 0.75 * self._predictor.source_v(self.chosen, m.context)
            doubts[m.number] = float(self.weight @ ~fits / self.weight.sum())
        return doubts

    def _within(self, column: int | Ints, rows: Ints | slice) -> tuple[Floats, Floats]:
        """Posterior mean and spread, in standard deviations, of what one column of the loadings stands for."""
        if isinstance(column, int):
            load = self._fitted.predicted.loadings[rows, :, column]
        else:
            load = self._fitted.predicted.loadings[rows][np.arange(len(column)), :, column]
        precision = self._fitted.precision[rows]
        step = np.einsum("km,km->k", load, self._fitted.pull[rows])
        shrink = 1.0 - np.einsum("ki,kij,kj->k", load, precision, load)
        return step, np.sqrt(np.clip(shrink, 0.0, 1.0))

    def excess_ohm(self, site: int) -> tuple[float, float, float] | None:
        """Low, middle and high (5, 50, 95 %) of a site's added resistance; None where it has none."""
        cells = self.model.cells
        rows, end = np.nonzero(self.sites == site)
        if not len(rows) or not self.weight[rows].sum() > 0:
            return None
        step, spread = self._within(OHM + end, rows)
        cell = self.shown[rows, end]
        wide = cells.spread_ohm[cell]
        values = np.concatenate([cells.added_ohm[cell] + wide * (step + z * spread) for z in (-1.5, -0.5, 0.5, 1.5)])
        mass = np.concatenate([self.weight[rows] * share for share in (0.16, 0.34, 0.34, 0.16)])
        low, middle, high = _quantiles(values, mass, (0.05, 0.5, 0.95))
        return max(low, 0.0), max(middle, 0.0), max(high, 0.0)

    def open_share(self, site: int) -> float:
        """Of the odds that a site is at fault, the share that it is a complete break."""
        rows, end = np.nonzero(self.sites == site)
        total = float(self.weight[rows].sum())
        broken = self.model.cells.added_ohm[self.shown[rows, end]] >= OPEN_OHM
        return float(self.weight[rows][broken].sum()) / total if total > 0 else 0.0

    @cached_property
    def current_a(self) -> tuple[float, float]:
        """Mean and standard deviation of the current that flows in the motor while start is held, as it is now."""
        step, spread = self._within(CURRENT, slice(None))
        chosen, turning, motor_a = self.chosen, self._fitted.turning, self._fitted.motor_a
        demand = self._predictor.who(
            self._predictor.cells_in(chosen.cell, chosen.cured, chosen.left, self.now), chosen.middle
        ).demand_a
        wide = demand * chosen.width * self._predictor.log_spread
        mean = np.maximum(np.where(turning, demand + wide * step, motor_a), 0.0)
        spread = np.where(turning, wide * spread, 0.03 * motor_a)
        weight = self.weight / self.weight.sum()
        middle = float(weight @ mean)
        return middle, float(np.sqrt(weight @ (spread**2 + (mean - middle) ** 2)))

    @cached_property
    def spare_v(self) -> tuple[float, float]:
        """Volts left at the motor before it stalls, as it is now and in a sound circuit: its margin."""
        role, rotor = self.model.circuit.roles, self.model.circuit.rotor_ohm
        what = Observable("cranking", role["starter.motor"], role["starter.case"])
        mean, _ = self.foresee([what], np.arange(len(self.weight)))
        middle, _ = self.current_a
        reaches = float(self.weight @ mean[:, 0] / self.weight.sum())
        sound = float(self.healthy([what])[0][0])
        return max(0.0, reaches - middle * rotor), max(0.0, sound - middle * rotor)

    def healthy(self, observables: Sequence[Observable]) -> tuple[Floats, Floats]:
        """Mean and standard deviation of what a sound circuit would read at this current (m,), (m,).

        Where hardly any current flows (a break), it is the current that the engine asks for.
        """
        if new := [what for what in dict.fromkeys(observables) if what not in self._sound]:
            means, spreads = self._healthy_at_rest_or_held(new)
            self._sound.update(zip(new, zip(means.tolist(), spreads.tolist(), strict=True), strict=True))
        out = np.array([self._sound[what] for what in observables]).reshape(-1, 2)
        return out[:, 0], out[:, 1]

    @cached_property
    def _sound_held(self) -> tuple[Answers, Held, float]:
        """A sound circuit with start held at the current as far as it is known, and how far that may be off."""
        middle, spread = self.current_a
        if middle < 0.25 * self._predictor.typical_a:
            middle, spread = self._predictor.typical_a, self._predictor.typical_a * self._predictor.log_spread
        load, scale = self.model.load, self.model.circuit.scale
        none = Added(np.array([[load.index[BATTERY], load.index[MOTOR]]]), np.zeros((1, 2)), np.array([True]))
        answers = load.answers(none, np.array([SOURCE_V * scale]))
        return answers, load.hold(answers, np.array([middle])), spread

    def _healthy_at_rest_or_held(self, observables: Sequence[Observable]) -> tuple[Floats, Floats]:
        load, source_spread = self.model.load, SOURCE_SPREAD * self.model.circuit.scale
        answers, held, spread = self._sound_held
        rest = rest_volts(self.model.circuit, observables)
        mean, wide = rest * answers.source_v, np.abs(rest) * source_spread
        cranking = np.array([what.state == "cranking" for what in observables])
        if loaded := [what for what in observables if what.state == "cranking"]:
            readout = Readout(load.ask(loaded), held)
            tolerance = (load.by_branch(answers, held, readout, self._predictor.spread_ohm)[0] ** 2).sum(axis=1)
            per_amp, per_volt = readout.per_amp(held)[0], readout.per_volt(held)[0]
            mean[cranking] = readout.values(held)[0]
            wide[cranking] = np.sqrt((per_amp * spread) ** 2 + tolerance + (per_volt * source_spread) ** 2)
        return mean, wide

    def without(self, number: int) -> tuple[Floats, Floats, Floats]:
        """What hypotheses that take a reading for wrong would have it read: means, spreads, weights (k,), to sum 1."""
        column = next((i for i, m in enumerate(self._likelihood.numeric) if m.number == number), None)
        m = next(m for m in self.evidence.measurements if m.number == number)
        odds = self.weight * (self._fitted.wrong[:, column] if column is not None else 1.0)
        rows = np.flatnonzero(odds > 1e-6 * odds.max()) if odds.max() > 0 else np.arange(len(odds))
        mean, spread = self.foresee([m.what], rows, m.context)
        weight = odds[rows] / odds[rows].sum() if odds[rows].sum() > 0 else np.full(len(rows), 1.0 / len(rows))
        return mean[:, 0], spread[:, 0], weight

    def foresee(
        self, observables: Sequence[Observable], rows: Ints, context: Context | None = None, repaired: str | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and standard deviation (k, m) of new readings under the kept hypotheses `rows`, given all so far.

        They are readings of the circuit as it is now unless another context is given; with `repaired`, as it would be
        once that repair had put right everything that it can.
        """
        chosen = self.chosen.take(rows)
        if repaired is not None:
            cells = self.model.cells
            cures = np.array([*(site.cured_by(repaired) for site in self.model.sites), False])
            chosen = replace(chosen, cell=np.where(cures[cells.site[chosen.cell]], len(cells.site) - 1, chosen.cell))
        asked, first, second = self._from_points(observables)
        new, _ = self._predictor.predict(asked, context or self.now, chosen)
        mean, covariance = new.mean, new.covariance(new)
        if len(self._likelihood.numeric):
            cross = new.covariance(self._fitted.predicted.take(rows))
            mean = mean + np.einsum("kmn,kn->km", cross, self._fitted.pull[rows])
            covariance -= cross @ self._fitted.precision[rows] @ np.swapaxes(cross, 1, 2)
        # The one behind the last is the point that all volts are counted from.
        before, mean, crank = (np.pad(one, ((0, 0), (0, 1))) for one in (new.mean, mean, new.crank))
        covariance = np.pad(covariance, ((0, 0), (0, 1), (0, 1)))
        variance = covariance[:, first, first] + covariance[:, second, second] - 2.0 * covariance[:, first, second]
        variance += (crank[:, first] - crank[:, second]) ** 2
        variance += self._predictor.meter(observables, before[:, first] - before[:, second])
        return mean[:, first] - mean[:, second], np.sqrt(np.maximum(variance, 1e-8))

    def _from_points(self, observables: Sequence[Observable]) -> tuple[list[Observable], list[int], list[int]]:
        """What readings are the difference of: each of them of two, by number, the number behind the last for none.

        Many spans have few points: volts from each to the battery's negative post say it all.
        """
        base = self.model.circuit.map.battery.negative
        ends = {
            what: (Observable("cranking", what.red, base), Observable("cranking", what.black, base))
            for what in observables
            if what.state == "cranking" and not what.clamp
        }
        asked = dict.fromkeys(one for what in observables for one in ends.get(what, (what,)) if one.red != base)
        if len(asked) >= len(observables):
            return list(observables), list(range(len(observables))), [len(observables)] * len(observables)
        place = {what: number for number, what in enumerate(asked)}
        pairs = [ends.get(what, (what, None)) for what in observables]
        none = len(asked)
        first, second = ([place.get(one, none) if one else none for one in side] for side in zip(*pairs, strict=True))
        return list(asked), first, second


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
