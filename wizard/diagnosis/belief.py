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
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.load import HEARD, Added, Heard, Held, rest_volts
from wizard.circuit.network import BATTERY, MOTOR, OPEN_OHM, Floats, Ints, Observable
from wizard.diagnosis.faults import SOURCE_SPREAD, FaultModel, Hypotheses, evidence_weight

Flags = NDArray[np.bool_]

# Cells of the logarithm of the current that the engine asks for, in standard deviations: (middle, width, share).
CURRENT_FINE = ((-1.7, 0.42, 0.10), (-0.85, 0.42, 0.24), (0.0, 0.42, 0.32), (0.85, 0.42, 0.24), (1.7, 0.42, 0.10))
CURRENT_COARSE = ((-1.25, 0.7, 0.25), (0.0, 0.7, 0.5), (1.25, 0.7, 0.25))
# A charged battery's own volts; the spreads of its internal resistance and the rotor's. Common practice, no source.
SOURCE_V = 12.6
BATTERY_SPREAD, ROTOR_SPREAD = 0.4, 0.1
# What a model of lumped resistances can't say, as a share of a reading.
MODEL_SHARE = 0.015
# Of wrong readings, those that show nothing: no load or no contact. The rest may show anything that a battery can.
WRONG_SHOWS_NOTHING, _NOTHING_V, _NOTHING_A = 0.35, 0.03, 5.0
# A reading more likely wrong than right is doubted: it shows nothing, and is asked for again.
DOUBTED = 0.5
# Which hypotheses are kept for the exact sum: all if they are no more than so many, else as many of those within this
# many nats of the best.
_KEEP_NATS, _KEEP_MOST = 14.0, 2200
_TIE_NATS = 1e-7
# Severities further from the middle of their cell than so many standard deviations are predicted where they lie, up to
# the farthest, for hypotheses within so many nats of the best.
_STRAIGHT, _FARTHEST, _NEAR_NATS = 0.3, 2.0, 8.0
# Odds of each of HEARD when one of them is certain.
_CERTAIN = np.eye(len(HEARD))
# Volts that differ by less than this share are even.
_EVEN = 1e-6
# With more hypotheses than so many, and more than a few readings, those that are further than so many nats below the
# best with the current in one cell are out.
_MANY, _FEW, _ROUGH_NATS, _WHOLE_CURRENT = 3000, 3, 18.0, ((0.0, 1.0, 1.0),)
# Hypotheses predicted at a time: few enough that the arrays stay in the processor's cache.
_CHUNK = 1500
# How likely a complaint is to be told as each of HEARD when the starter does each of HEARD.
TOLD = np.array(
    [
        [0.78, 0.12, 0.05, 0.025, 0.025],
        [0.20, 0.62, 0.10, 0.05, 0.03],
        [0.06, 0.12, 0.68, 0.06, 0.08],
        [0.05, 0.10, 0.15, 0.64, 0.06],
        [0.05, 0.04, 0.10, 0.04, 0.77],
    ]
)


class Context(NamedTuple):
    """How many repairs had been done, and whether the fault was away at that moment."""

    repairs: int
    away: bool = False


# Before any repair.
FIRST = Context(0)


class _Variant(NamedTuple):
    """What contexts make of a hypothesis: whether repairs cure, and what is left of a fault while it is away."""

    cured: bool
    left: int


_GONE, _TRACE, _SAME = range(3)


@dataclass(frozen=True)
class Measurement:
    """One reading: volts or amps, or None for an open span.

    Readings with the same `crank` shared one crank. `away` says that the fault was not there at that moment.
    """

    number: int
    what: Observable
    value: float | None
    crank: int | None = None
    context: Context = FIRST


@dataclass(frozen=True)
class Evidence:
    """Everything that was found out about the circuit, from the complaint on.

    `tables` are rows of likelihoods, one for each answer that has them, about the circuit as it is now. `repairs` are
    those done, in order. `away_now` says that a fault that comes and goes is not there at this moment, as far as known.
    """

    measurements: tuple[Measurement, ...] = ()
    symptom: Heard | None = None
    intermittent: bool = False
    tables: tuple[Mapping[str, float], ...] = ()
    repairs: tuple[str, ...] = ()
    away_now: bool = False


# Hypotheses, their cells of current, a variant, which of them it is of, and their log weight before any reading.
_Block = tuple[Hypotheses, Sequence[tuple[float, ...]], _Variant, Ints, Floats]


@dataclass(frozen=True)
class _Who:
    """k hypotheses as they are in one context: added resistance, battery, engine, and what is broken at rest."""

    added: Added
    spread_ohm: Floats
    source_v: Floats
    source_spread: Floats
    demand_a: Floats
    group: Ints


class _Reads(NamedTuple):
    """The readings of one context, by their places among all: those under load, those at rest, and the open spans.

    Those under load and those at rest are kept by span, counted from 0, and value: repeats are looked at once.
    `observables` are the spans under load, each once, and the open ones; `tolerance` (9, m) is the table of
    `_tolerance` for the former.
    """

    context: Context
    loaded: dict[tuple[int, float], list[int]]
    resting: dict[tuple[int, float], list[int]]
    opened: list[Observable]
    observables: list[Observable]
    tolerance: Floats


@dataclass(frozen=True)
class _Chosen:
    """The k hypotheses that are kept, each with one cell of current (its middle and width) and one variant.

    `step` (k, 4) is how far from the middle of their cells the severities lie at which readings are predicted, in
    standard deviations: of both faults, and of what is left of them while they are away.
    """

    cell: Ints
    cured: Flags
    left: Ints
    middle: Floats
    width: Floats
    step: Floats

    def take(self, rows: Ints) -> _Chosen:
        """Some of the hypotheses only."""
        return _Chosen(*(getattr(self, one.name)[rows] for one in fields(self)))


# What readings vary with together, by column of the loadings; the tolerance of each branch follows.
_CURRENT, _SOURCE, _OHM, _TRACE_OHM, _PARTS = 0, 1, 2, 4, 6


@dataclass(frozen=True)
class _Predicted:
    """Means (k, m); loadings (k, m, f) on what readings share, one standard deviation each; what a crank adds (k, m);
    and the variance `own` (k, m) that no other reading shares.
    """

    mean: Floats
    loadings: Floats
    crank: Floats
    own: Floats

    def variance(self) -> Floats:
        """Of each observable by itself (k, m)."""
        return np.einsum("kmf,kmf->km", self.loadings, self.loadings) + self.crank**2 + self.own

    def covariance(self, other: _Predicted) -> Floats:
        """Between these observables and others (k, m, n), apart from cranks and what each has of its own."""
        return self.loadings @ np.swapaxes(other.loadings, 1, 2)

    def columns(self, which: slice) -> _Predicted:
        """Some of the observables only."""
        return _Predicted(self.mean[:, which], self.loadings[:, which], self.crank[:, which], self.own[:, which])

    def take(self, rows: Ints) -> _Predicted:
        """Some of the hypotheses only."""
        return _Predicted(self.mean[rows], self.loadings[rows], self.crank[rows], self.own[rows])


@dataclass(frozen=True)
class _Fitted:
    """How the evidence fits k hypotheses: its log likelihood (k,), what they predict for the m readings, the readings'
    precision (k, m, m), what that makes of their differences from the means (k, m), the odds that each is wrong (k, m);
    and, as the circuit is now, the odds of what is heard (k, 5), whether the engine sets the current, the motor's amps.
    """

    log: Floats
    predicted: _Predicted
    precision: Floats
    pull: Floats
    wrong: Floats
    hearing: Floats
    turning: Flags
    motor_a: Floats

    def take(self, rows: Ints) -> _Fitted:
        """Some of the hypotheses only."""
        arrays = (getattr(self, name) for name in _FITTED)
        log, *rest = (one[rows] for one in arrays)
        return _Fitted(log, self.predicted.take(rows), *rest)

    def put(self, rows: Ints, other: _Fitted) -> None:
        """Other values for some of the hypotheses."""
        for name in _FITTED:
            getattr(self, name)[rows] = getattr(other, name)
        for one in fields(_Predicted):
            getattr(self.predicted, one.name)[rows] = getattr(other.predicted, one.name)


_FITTED = tuple(one.name for one in fields(_Fitted) if one.name != "predicted")


class Belief:
    """The posterior over hypotheses, and what follows from it. Build it with a model and the evidence."""

    def __init__(self, model: FaultModel, evidence: Evidence) -> None:
        self.model = model
        self.evidence = evidence
        self.now = Context(len(evidence.repairs), evidence.away_now)
        # What is wrong is what shows while the fault acts up, whether it does now or not.
        self.acting = Context(len(evidence.repairs))
        self._numeric = tuple(m for m in evidence.measurements if m.value is not None)
        self._open = tuple(m for m in evidence.measurements if m.value is None)
        self._values = np.array([m.value for m in self._numeric], dtype=float)
        self._typical = model.circuit.demand_a[1]
        self.log_spread = float(np.log(model.circuit.demand_a[2] / model.circuit.demand_a[0])) / (2 * 1.645)
        self._spread_ohm = self._healthy_spreads()
        self._done_at = np.array(
            [
                evidence.repairs.index(site.repair) + 1
                if site.repair in evidence.repairs
                else len(evidence.repairs) + 1
                for site in model.sites
            ]
            + [len(evidence.repairs) + 1]
        )
        self._infer()

    # --- what each hypothesis predicts -------------------------------------------------------------------------------

    def _cells_in(self, cell: Ints, cured: Flags, left: Ints, context: Context) -> Ints:
        """Cells (k, 2) that show in a context."""
        cells, healthy = self.model.cells, len(self.model.cells.site) - 1
        site = cells.site[cell]
        shown = cell
        if context.away:
            instead = np.where(left[:, None] == _TRACE, cells.trace[cell], healthy)
            shown = np.where(left[:, None] == _SAME, cell, instead)
        if context.repairs:
            shown = np.where(cured[:, None] & (self._done_at[site] <= context.repairs), healthy, shown)
        return shown

    def _who(self, shown: Ints, middle: Floats, step: Floats | float = 0.0) -> _Who:
        cells, scale = self.model.cells, self.model.circuit.scale
        one, two = shown[:, 0], shown[:, 1]
        return _Who(
            Added(
                cells.branch[shown],
                cells.added_ohm[shown] + step * cells.spread_ohm[shown],
                cells.coil_works[one] & cells.coil_works[two],
            ),
            cells.spread_ohm[shown],
            SOURCE_V * scale * cells.source_share[one] * cells.source_share[two],
            scale * np.minimum(cells.source_spread[one], cells.source_spread[two]),
            self._typical * np.exp(middle * self.log_spread) * np.maximum(cells.demand[one], cells.demand[two]),
            cells.group[one] * len(cells.groups) + cells.group[two],
        )

    def _healthy_spreads(self) -> Floats:
        """Standard deviation of each branch's resistance in a sound circuit, in ohm (b,)."""
        index, circuit = self.model.load.index, self.model.circuit
        spread = np.zeros(len(index))
        for name, passive in circuit.parts.items():
            spread[index[name]] = passive.spread_ohm
        spread[index[BATTERY]] = BATTERY_SPREAD * circuit.battery_ohm
        spread[index[MOTOR]] = ROTOR_SPREAD * circuit.rotor_ohm
        return spread

    def _tolerance(self, observables: Sequence[Observable]) -> Floats:
        """Variance of observables by sound parts' tolerances, as the healthy network shares out currents (3, 3, m).

        Rows are for a motor that stalls, that turns, and contacts that stay open; columns per square of the motor's
        amps, per amp and volt of the battery, per square of its volts: the coil draws its own current beside the motor.
        """
        networks = self.model.load.networks
        closed, pulling, motor = networks.closed, networks.pulling, self.model.load.index[MOTOR]
        per_amp = closed.opposing_a[:, motor] / closed.opposing_a[motor, motor]
        per_volt = closed.source_a - per_amp * closed.source_a[motor]
        stalled = closed.rows(observables).opposing
        pinned = stalled[:, motor] / closed.opposing_a[motor, motor]
        turning = stalled - np.outer(pinned, closed.opposing_a[motor])
        contacts_open = pulling.rows(observables).opposing
        none = np.zeros(len(per_amp))
        table = np.empty((3, 3, len(observables)))
        for row, (follows, amp, volt) in enumerate(
            ((stalled, per_amp, per_volt), (turning, per_amp, per_volt), (contacts_open, none, pulling.source_a))
        ):
            squares = (follows * self._spread_ohm) ** 2
            table[row] = squares @ amp**2, 2.0 * squares @ (amp * volt), squares @ volt**2
        return table

    def _meter(self, observables: Sequence[Observable], mean: Floats) -> Floats:
        """Variance of the meter and of what the model can't say, for readings around these means (k, m)."""
        meter = self.model.priors.meter
        clamp = np.array([bool(what.clamp) for what in observables])
        model = np.array([MODEL_SHARE if what.state == "cranking" else 0.0 for what in observables])
        least = np.where(clamp, meter.clamp_amps, meter.volts * self.model.circuit.scale) ** 2
        share = (np.where(clamp, meter.clamp_share, meter.share) + model) ** 2
        return share * (mean * mean) + least

    def _rest(self, observables: Sequence[Observable], group: Ints) -> Floats:
        """Readings at rest per volt of the battery (k, m)."""
        role, groups = self.model.circuit.roles, self.model.cells.groups
        posts = {role["battery.positive"], role["battery.negative"]}
        used, where = np.unique(group, return_inverse=True)
        table = np.zeros((len(used), len(observables)))
        for column, what in enumerate(observables):
            if {what.red, what.black} == posts:
                table[:, column] = 1.0 if what.red == role["battery.positive"] else -1.0
            elif not what.clamp:
                for row, key in enumerate(map(int, used)):
                    broken = frozenset({groups[key // len(groups)], groups[key % len(groups)]} - {""})
                    table[row, column] = self.model.rest_volts(what, broken)
        return table[where]

    def _predict(self, observables: Sequence[Observable], context: Context, chosen: _Chosen) -> tuple[_Predicted, Held]:
        """What hypotheses predict for observables of one context before the readings, and what is heard."""
        shown = self._cells_in(chosen.cell, chosen.cured, chosen.left, context)
        trace = ((chosen.left == _TRACE) & context.away)[:, None]
        who = self._who(shown, chosen.middle, np.where(trace, chosen.step[:, 2:], chosen.step[:, :2]))
        cranking = [i for i, what in enumerate(observables) if what.state == "cranking"]
        resting = [i for i, what in enumerate(observables) if what.state != "cranking"]
        loaded = [observables[i] for i in cranking]
        load = self.model.load
        answers = load.answers(who.added, loaded, who.source_v)
        held = load.hold(answers, who.demand_a)
        count, many, branches = len(who.source_v), len(observables), len(self._spread_ohm)
        mean, crank = np.zeros((count, many)), np.zeros((count, many))
        loadings = np.zeros((count, many, _PARTS + branches))
        mean[:, cranking] = held.values
        crank[:, cranking] = held.per_amp * (held.varying_a * self.model.priors.crank_change)[:, None]
        width = held.turning * chosen.width * self.log_spread
        loadings[:, cranking, _CURRENT] = held.per_amp * (who.demand_a * width)[:, None]
        loadings[:, cranking, _SOURCE] = held.per_volt * who.source_spread[:, None]
        ohms = np.stack([held.per_ohm_1, held.per_ohm_2], axis=2) * who.spread_ohm[:, None, :]
        if context.away:
            loadings[:, cranking, _TRACE_OHM : _TRACE_OHM + 2] = np.where(trace[:, None], ohms, 0.0)
            ohms = np.where(trace[:, None], 0.0, ohms)
        loadings[:, cranking, _OHM : _OHM + 2] = ohms
        per_ohm = load.per_ohm(who.added, answers, loaded, who.demand_a)
        loadings[:, cranking, _PARTS:] = per_ohm * self._spread_ohm
        if resting:
            rest = self._rest([observables[i] for i in resting], who.group)
            mean[:, resting] = rest * who.source_v[:, None]
            loadings[:, resting, _SOURCE] = rest * who.source_spread[:, None]
        own = self._meter(observables, mean)
        # As a straight line through what is predicted at the step, on to the middle of the cells.
        middle = mean - np.einsum("kmf,kf->km", loadings[:, :, _OHM:_PARTS], chosen.step)
        return _Predicted(middle, loadings, crank, own), held

    # --- the posterior -----------------------------------------------------------------------------------------------

    def _wrong_log(self) -> Floats:
        """Log density of a wrong reading at each value (m,)."""
        values = self._values
        clamp = np.array([bool(m.what.clamp) for m in self._numeric])
        full = np.where(clamp, 1000.0, 13.5 * self.model.circuit.scale)
        nothing = np.where(clamp, _NOTHING_A, _NOTHING_V * self.model.circuit.scale)
        near = np.exp(-0.5 * (values / nothing) ** 2) / (nothing * np.sqrt(2 * np.pi))
        return np.log(WRONG_SHOWS_NOTHING * near + (1 - WRONG_SHOWS_NOTHING) / full)

    @cached_property
    def _any_away(self) -> bool:
        return self.now.away or any(m.context.away for m in self.evidence.measurements)

    def _told_log(self, cell: Ints, hearing: Mapping[Context, Floats]) -> Floats:
        """Log likelihood of the complaint and of all answers (n,), from what is heard in each context."""
        total = np.zeros(len(cell))
        site = self.model.cells.site[cell]
        for table in self.evidence.tables:
            total += np.log(evidence_weight(site, self.model.sites, hearing[self.now], table))
        if self.evidence.symptom is not None:
            total += np.log(hearing[self._told_in] @ TOLD[:, HEARD.index(self.evidence.symptom)])
        return total

    @cached_property
    def _told_in(self) -> Context:
        """The context that the complaint speaks of: the fault acting up, unless it says that all is well today."""
        well = self.evidence.symptom is Heard.CRANKS_NORMALLY
        return Context(0, away=self.evidence.intermittent and well)

    def _contexts(self) -> list[Context]:
        """Every context that evidence speaks of."""
        contexts = dict.fromkeys(m.context for m in self.evidence.measurements)
        if self.evidence.symptom is not None:
            contexts[self._told_in] = None
        if self.evidence.tables or not contexts:
            contexts[self.now] = None
        return list(contexts)

    def _open_log(self, mean: Floats, source_v: Floats) -> Floats:
        """Log likelihood of spans that read open: the whole battery must show across them."""
        shows = np.abs(mean) > 0.75 * source_v[:, None]
        return np.where(shows, 0.0, np.log(self.model.priors.wrong_reading)).sum(axis=1)

    def _variants(self, hypotheses: Hypotheses) -> list[tuple[_Variant, Ints, Floats]]:
        """Each variant with the hypotheses that it makes a difference to and its log share of them."""
        priors, rows = self.model.priors, np.arange(len(hypotheses))
        site = self.model.cells.site[hypotheses.cell]
        treated: Flags = np.any(self._done_at[site] <= len(self.evidence.repairs), axis=1)
        some: Flags = np.any(site >= 0, axis=1)
        cures = [(True, rows, np.where(treated, np.log(priors.cured), 0.0))]
        if treated.any():
            cures.append((False, rows[treated], np.full(int(treated.sum()), np.log1p(-priors.cured))))
        out: list[tuple[_Variant, Ints, Floats]] = []
        for cured, of, log in cures:
            if not self._any_away:
                out.append((_Variant(cured, _SAME), of, log))
                continue
            shares = (priors.gone, priors.trace, 1.0 - priors.gone - priors.trace)
            out.append((_Variant(cured, _GONE), of, log + np.where(some[of], np.log(shares[0]), 0.0)))
            for left in (_TRACE, _SAME):
                kept = some[of]
                out.append((_Variant(cured, left), of[kept], log[kept] + np.log(max(shares[left], 1e-6))))
        return out

    def _alike(self, which: Sequence[int]) -> dict[tuple[int, float], list[int]]:
        """Readings by their span, counted from 0 in the order they come up, and value."""
        spans = {what: number for number, what in enumerate(dict.fromkeys(self._numeric[i].what for i in which))}
        alike: dict[tuple[int, float], list[int]] = {}
        for i in which:
            alike.setdefault((spans[self._numeric[i].what], float(self._values[i])), []).append(i)
        return alike

    def _screen(
        self, hypotheses: Hypotheses, variant: _Variant, rows: Ints, base: Floats, cells: Sequence[tuple[float, ...]]
    ) -> Floats:
        """Log weight of each hypothesis and current cell (n, cells), readings taken as independent."""
        priors = self.model.priors
        wrong = priors.wrong_reading
        wrong_log = np.log(wrong) + self._wrong_log()

        def fit(alike: dict[tuple[int, float], list[int]], mean: Floats, variance: Floats) -> Floats:
            span, first = [span for span, _ in alike], [numbers[0] for numbers in alike.values()]
            count = np.array([len(numbers) for numbers in alike.values()], dtype=float)
            top, fall = np.log1p(-wrong) - 0.5 * np.log(2 * np.pi * variance), -0.5 / variance
            odds = top[:, span] + fall[:, span] * (self._values[first] - mean[:, span]) ** 2 - wrong_log[first]
            # The same as logaddexp, which is several times as slow; a right reading is never e^700 times as likely.
            return np.log1p(np.exp(odds)) @ count + wrong_log[first] @ count

        plans: list[_Reads] = []
        for context in self._contexts():
            here = [i for i, m in enumerate(self._numeric) if m.context == context]
            loaded = [i for i in here if self._numeric[i].what.state == "cranking"]
            resting = [i for i in here if self._numeric[i].what.state != "cranking"]
            opened = [m.what for m in self._open if m.context == context]
            spans = list(dict.fromkeys(self._numeric[i].what for i in loaded))
            tolerance = self._tolerance(spans).reshape(9, len(spans))
            plans.append(
                _Reads(context, self._alike(loaded), self._alike(resting), opened, [*spans, *opened], tolerance)
            )
        scores = np.empty((len(rows), len(cells)))
        for start in range(0, len(rows), _CHUNK):
            part = slice(start, min(start + _CHUNK, len(rows)))
            cell = hypotheses.cell[rows[part]]
            count = len(cell)
            score = np.repeat(base[part][:, None], len(cells), axis=1)
            hearing: list[dict[Context, Floats]] = [{} for _ in cells]
            for context, loaded, resting, opened, observables, tolerance in plans:
                shown = self._cells_in(cell, np.full(count, variant.cured), np.full(count, variant.left), context)
                who = self._who(shown, np.zeros(count))
                answers = self.model.load.answers(who.added, observables, who.source_v)
                if resting:
                    at_rest = list(dict.fromkeys(self._numeric[i].what for same in resting.values() for i in same))
                    rest = self._rest(at_rest, who.group)
                    mean = rest * who.source_v[:, None]
                    variance = (rest * who.source_spread[:, None]) ** 2 + self._meter(at_rest, mean)
                    score += fit(resting, mean, variance)[:, None]
                for number, (middle, width, _) in enumerate(cells):
                    demand = who.demand_a * np.exp(middle * self.log_spread)
                    held = self.model.load.hold(answers, demand)
                    hearing[number][context] = _CERTAIN[held.heard]
                    many = len(observables) - len(opened)
                    if loaded:
                        mean = held.values[:, :many]
                        change = held.turning * (width * self.log_spread * demand) ** 2
                        change += (priors.crank_change * held.varying_a) ** 2
                        variance = held.per_amp[:, :many] ** 2 * change[:, None]
                        variance += held.per_volt[:, :many] ** 2 * (who.source_spread**2)[:, None]
                        variance += held.per_ohm_1[:, :many] ** 2 * who.spread_ohm[:, :1] ** 2
                        variance += held.per_ohm_2[:, :many] ** 2 * who.spread_ohm[:, 1:] ** 2
                        quiet = held.heard == HEARD.index(Heard.NO_CLICK)
                        state = np.where(quiet, 2, held.turning.astype(np.intp))
                        squares = np.zeros((3, 3, count))
                        motor, source = held.motor_a, who.source_v
                        squares[state, :, np.arange(count)] = np.stack([motor**2, motor * source, source**2], axis=1)
                        variance += squares.reshape(9, count).T @ tolerance
                        variance += self._meter(observables[:many], mean)
                        score[:, number] += fit(loaded, mean, variance)
                    if opened:
                        score[:, number] += self._open_log(held.values[:, many:], who.source_v)
            for number, (_, _, share) in enumerate(cells):
                scores[part, number] = score[:, number] + np.log(share) + self._told_log(cell, hearing[number])
        return scores

    def _infer(self) -> None:
        model = self.model
        sets: list[tuple[Hypotheses, Sequence[tuple[float, ...]]]] = [(model.singles, CURRENT_FINE)]
        if model.priors.two_faults > 0:
            sets.append((model.pairs, CURRENT_COARSE))
        blocks: list[_Block] = []
        scores: list[Floats] = []
        best = -np.inf
        for hypotheses, cells in sets:
            for variant, rows, log in self._variants(hypotheses):
                base = log + hypotheses.log_prior[rows]
                if len(rows) > _MANY and len(self._numeric) > _FEW:
                    rough = self._screen(hypotheses, variant, rows, base, _WHOLE_CURRENT)[:, 0]
                    near = rough > max(best, float(rough.max())) - _ROUGH_NATS
                    rows, base = rows[near], base[near]
                score = self._screen(hypotheses, variant, rows, base, cells)
                best = max(best, float(score.max(initial=-np.inf)))
                blocks.append((hypotheses, cells, variant, rows, base))
                scores.append(score)
        flat = np.concatenate([score.ravel() for score in scores])
        ends = np.cumsum([0, *(score.size for score in scores)])
        most = int(min(_KEEP_MOST, max(100, 4e5 / max(len(self._numeric), 1) ** 2)))
        kept = np.arange(len(flat))
        if len(flat) > most:
            # A hair below the last one kept, so that equals stay or go together whatever the order of the readings.
            last = np.partition(flat, -most)[-most] - _TIE_NATS
            kept = np.flatnonzero(flat > max(float(last), float(flat.max()) - _KEEP_NATS))
        parts: list[_Chosen] = []
        priors_log: list[Floats] = []
        for number, (hypotheses, cells, variant, rows, base) in enumerate(blocks):
            own = kept[(kept >= ends[number]) & (kept < ends[number + 1])] - ends[number]
            row, cell = np.divmod(own, len(cells))
            middle, width, share = (np.array([c[i] for c in cells])[cell] for i in range(3))
            flags = np.full(len(own), variant.cured), np.full(len(own), variant.left)
            parts.append(_Chosen(hypotheses.cell[rows[row]], *flags, middle, width, np.zeros((len(own), 4))))
            priors_log.append(base[row] + np.log(share))
        self.chosen = _Chosen(*(np.concatenate([getattr(p, one.name) for p in parts]) for one in fields(_Chosen)))
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
        self._fitted = self._fit(self.chosen)
        total = prior_log + self._fitted.log
        step = self._severity_step()
        far: Flags = (np.abs(step) > _STRAIGHT).any(axis=1) & (total > total.max() - _NEAR_NATS)
        if len(rows := np.flatnonzero(far)):
            there = replace(self.chosen.take(rows), step=step[rows])
            again = self._fit(there)
            # A straight line does not lead past the point where the engine stalls.
            same = np.flatnonzero(again.turning == self._fitted.turning[rows])
            self.chosen.step[rows[same]] = step[rows[same]]
            self._fitted.put(rows[same], again.take(same))
        return prior_log + self._fitted.log

    def _severity_step(self) -> Floats:
        """Where the readings put the severities, in standard deviations from the middle of their cells (k, 4)."""
        cells, cell = self.model.cells, self.chosen.cell
        both = np.concatenate([cell, cells.trace[cell]], axis=1)
        loads = self._fitted.predicted.loadings[:, :, _OHM:_PARTS]
        step = np.einsum("kmf,km->kf", loads, self._fitted.pull)
        # Not below a fifth of the middle.
        least = -0.8 * np.abs(cells.added_ohm[both]) / np.maximum(cells.spread_ohm[both], 1e-12)
        return np.clip(step, np.maximum(least, -_FARTHEST), _FARTHEST)

    def _fit(self, chosen: _Chosen) -> _Fitted:
        """How well readings and words fit hypotheses."""
        many, count = len(self._numeric), len(chosen.cell)
        total = np.zeros(count)
        width = _PARTS + len(self._spread_ohm)
        whole = _Predicted(
            np.empty((count, many)), np.empty((count, many, width)), np.empty((count, many)), np.empty((count, many))
        )
        ear = self.model.load.ear
        heard: dict[Context, tuple[Held, _Predicted]] = {}
        for context in dict.fromkeys([*self._contexts(), self.now]):
            here = [i for i, m in enumerate(self._numeric) if m.context == context]
            opened = [m for m in self._open if m.context == context]
            observables = [*(self._numeric[i].what for i in here), *(m.what for m in opened)]
            predicted, held = self._predict([*observables, *ear], context, chosen)
            for one in fields(whole):
                getattr(whole, one.name)[:, here] = getattr(predicted, one.name)[:, : len(here)]
            heard[context] = held, predicted.columns(slice(len(observables), None))
            if opened:
                shown = predicted.mean[:, len(here) : len(observables)]
                total += self._open_log(shown, self._source_v(chosen, context))
        likelihood, precision, pull, wrong = self._weigh(whole)
        hearing = {context: self._hears(*heard[context], whole, precision, pull) for context in heard}
        total += likelihood + self._told_log(chosen.cell, hearing)
        held = heard[self.now][0]
        return _Fitted(total, whole, precision, pull, wrong, hearing[self.now], held.turning, held.motor_a)

    def _hears(self, held: Held, ear: _Predicted, whole: _Predicted, precision: Floats, pull: Floats) -> Floats:
        """Odds of each of HEARD in one context under each hypothesis (k, 5), given all readings."""
        cross = ear.covariance(whole)
        mean = ear.mean + np.einsum("kem,km->ke", cross, pull)
        variance = np.einsum("kef,kef->ke", ear.loadings, ear.loadings)
        variance -= np.einsum("kem,kem->ke", cross @ precision, cross)
        return self.model.load.hearing(held, mean, np.sqrt(np.maximum(variance, 0.0)))

    def _weigh(self, whole: _Predicted) -> tuple[Floats, Floats, Floats, Floats]:
        """Under each hypothesis the log likelihood of all readings (k,), their precision (k, m, m), what that makes of
        their differences from the means (k, m), and the odds that each is wrong (k, m).
        """
        count, many = len(whole.mean), len(self._numeric)
        if not many:
            return np.zeros(count), np.zeros((count, 0, 0)), np.zeros((count, 0)), np.zeros((count, 0))
        covariance = whole.covariance(whole)
        covariance += whole.crank[:, :, None] * whole.crank[:, None, :] * self._same_crank()
        covariance[:, np.arange(many), np.arange(many)] += whole.own
        residual = self._values - whole.mean
        precision: Floats = np.linalg.inv(covariance).astype(np.float64, copy=False)
        pull: Floats = np.einsum("kij,kj->ki", precision, residual)
        _, log_det = np.linalg.slogdet(covariance)
        fits = -0.5 * (np.einsum("ki,ki->k", pull, residual) + log_det + many * np.log(2 * np.pi))
        likelihood, wrong = _allow_wrong(fits, precision, pull, self.model.priors.wrong_reading, self._wrong_log())
        # A reading that a hypothesis takes for wrong tells it nothing about its current and severity.
        doubtful = wrong > 0.5
        if doubtful.any():
            rows = np.flatnonzero(doubtful.any(axis=1))
            widened = covariance[rows]
            at, which = np.nonzero(doubtful[rows])
            widened[at, which, which] += 1e6
            precision[rows] = np.linalg.inv(widened)
            pull[rows] = np.einsum("kij,kj->ki", precision[rows], residual[rows])
        return likelihood, precision, pull, wrong

    def _source_v(self, chosen: _Chosen, context: Context) -> Floats:
        """The battery's own volts under each hypothesis in a context (k,)."""
        shown = self._cells_in(chosen.cell, chosen.cured, chosen.left, context)
        return self._who(shown, chosen.middle).source_v

    def _same_crank(self) -> Floats:
        """Which readings were taken in one crank (m, m)."""
        crank = [m.crank if m.crank is not None else -m.number - 1 for m in self._numeric]
        return np.equal.outer(crank, crank).astype(float)

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
            weight = np.exp(np.minimum(score + shift, 0.0))
            own = kept[(kept >= ends[number]) & (kept < ends[number + 1])] - ends[number]
            weight.ravel()[own] = 0.0
            by_row = weight.sum(axis=1)
            flags = np.full(len(rows), variant.cured), np.full(len(rows), variant.left)
            shown = self._cells_in(hypotheses.cell[rows], *flags, self.acting)
            np.add.at(self._rest_repair, self._needed(shown)[:, 0], by_row)
            for end in (0, 1):
                np.add.at(self._rest_site, cells.site[shown[:, end]], by_row)

    def _needed(self, shown: Ints) -> Ints:
        """Repairs (n, 2) that cells call for, the one that costs more volts first, no repair last."""
        cells, none = self.model.cells, len(self.model.repairs) - 1
        repair = cells.repair[shown]
        volts = np.where(repair == none, -1.0, cells.by_volts[shown])
        return np.where((volts[:, 0] >= volts[:, 1])[:, None], repair, repair[:, ::-1])

    # --- what follows ------------------------------------------------------------------------------------------------

    @cached_property
    def shown(self) -> Ints:
        """Cells (k, 2) of the kept hypotheses in the circuit as it is now, with a fault that comes and goes there."""
        chosen = self.chosen
        return self._cells_in(chosen.cell, chosen.cured, chosen.left, self.acting)

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
        own, volts = cells.repair[self.shown], cells.by_volts[self.shown]
        return np.where(own == repair, volts, volts[:, ::-1])

    @cached_property
    def repair_probability(self) -> dict[str, float]:
        """Odds that each repair is the one to do first; they sum to 1."""
        total = self._rest_repair.copy()
        np.add.at(total, self.first_repair, self.weight)
        total /= total.sum()
        return dict(zip(self.model.repairs, total.tolist(), strict=True))

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
                if number >= 0 and self.model.sites[number].repair != repair:
                    odds[number] = odds.get(number, 0.0) + float(self.weight[row]) / whole
        return odds

    def answer_weight(self, table: Mapping[str, float]) -> Floats:
        """How likely an answer is under each kept hypothesis (k,)."""
        return evidence_weight(self.sites, self.model.sites, self._fitted.hearing, table)

    @cached_property
    def doubt(self) -> dict[int, float]:
        """Probability that each reading is wrong, by its number."""
        shares = (self.weight @ self._fitted.wrong) / max(self.weight.sum(), 1e-300)
        doubts = {m.number: float(share) for m, share in zip(self._numeric, shares, strict=True)}
        for m in self._open:
            mean = self._predict([m.what], m.context, self.chosen)[0].mean[:, 0]
            fits = np.abs(mean) > 0.75 * self._source_v(self.chosen, m.context)
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
        step, spread = self._within(_OHM + end, rows)
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
        step, spread = self._within(_CURRENT, slice(None))
        chosen, turning, motor_a = self.chosen, self._fitted.turning, self._fitted.motor_a
        demand = self._who(self._cells_in(chosen.cell, chosen.cured, chosen.left, self.now), chosen.middle).demand_a
        wide = demand * chosen.width * self.log_spread
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
        middle, spread = self.current_a
        if middle < 0.25 * self._typical:
            middle, spread = self._typical, self._typical * self.log_spread
        load, scale = self.model.load, self.model.circuit.scale
        none = Added(np.array([[load.index[BATTERY], load.index[MOTOR]]]), np.zeros((1, 2)), np.array([True]))
        loaded = [what for what in observables if what.state == "cranking"]
        source, source_spread = np.array([SOURCE_V * scale]), SOURCE_SPREAD * scale
        answers, demand = load.answers(none, loaded, source), np.array([middle])
        held = load.hold(answers, demand)
        tolerance = ((load.per_ohm(none, answers, loaded, demand)[0] * self._spread_ohm) ** 2).sum(axis=1)
        wide = np.sqrt((held.per_amp[0] * spread) ** 2 + tolerance + (held.per_volt[0] * source_spread) ** 2)
        rest = rest_volts(self.model.circuit, [w for w in observables if w.state != "cranking"])
        means, wides, resting = iter(held.values[0]), iter(wide), iter(rest)
        out = np.empty((2, len(observables)))
        for number, what in enumerate(observables):
            if what.state == "cranking":
                out[:, number] = next(means), next(wides)
            else:
                share = next(resting)
                out[:, number] = share * source[0], abs(share) * source_spread
        return out[0], out[1]

    def without(self, number: int) -> tuple[Floats, Floats, Floats]:
        """What hypotheses that take a reading for wrong would have it read: means, spreads, weights (k,), to sum 1."""
        column = next((i for i, m in enumerate(self._numeric) if m.number == number), None)
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
            cures = np.array([*(site.repair == repaired for site in self.model.sites), False])
            chosen = replace(chosen, cell=np.where(cures[cells.site[chosen.cell]], len(cells.site) - 1, chosen.cell))
        new, _ = self._predict(observables, context or self.now, chosen)
        mean, variance = new.mean, new.variance()
        if len(self._numeric):
            cross = new.covariance(self._fitted.predicted.take(rows))
            mean = mean + np.einsum("kmn,kn->km", cross, self._fitted.pull[rows])
            gain = cross @ self._fitted.precision[rows]
            variance = variance - np.einsum("kmn,kmn->km", gain, cross)
        return mean, np.sqrt(np.maximum(variance, 1e-8))


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
    left, right = np.triu_indices(many, 1)
    if many >= 4:
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
