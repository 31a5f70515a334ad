"""What a hypothesis predicts for any reading: its mean, and what it varies with, together and apart.

A hypothesis is one or two faults with their severities, one cell of cranking current, and what repairs and luck have
made of the faults in each context. Means come from the load model, and readings follow a straight line from there in
whatever they share: the current within its cell, the battery's volts, the severities, every sound part's tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.load import Added, Held, Readout
from wizard.circuit.network import BATTERY, MOTOR, Floats, Ints, Observable
from wizard.diagnosis.evidence import Context
from wizard.diagnosis.faults import IN_FIVE, FaultModel

Flags = NDArray[np.bool_]

# Cells of the logarithm of the current that the engine asks for, in standard deviations: (middle, width, share).
CURRENT_FINE = IN_FIVE
CURRENT_COARSE = ((-1.25, 0.7, 0.25), (0.0, 0.7, 0.5), (1.25, 0.7, 0.25))
# A charged battery's own volts; the spreads of its internal resistance and the rotor's. Common practice, no source.
SOURCE_V = 12.6
BATTERY_SPREAD, ROTOR_SPREAD = 0.4, 0.1
# What a model of lumped resistances can't say, as a share of a reading.
MODEL_SHARE = 0.015
# Amps through any part that belong to nothing on the map: ignition, fuel, lights and fans with the key on; one standard
# deviation. Common practice, no source.
KEY_ON_A = 6.0


class Variant(NamedTuple):
    """What contexts make of a hypothesis: whether repairs cure, and what is left of a fault while it is away."""

    cured: bool
    left: int


GONE, TRACE, SAME = range(3)


@dataclass(frozen=True)
class Who:
    """k hypotheses as they are in one context: added resistance, battery, engine, and what is broken at rest."""

    added: Added
    spread_ohm: Floats
    source_v: Floats
    source_spread: Floats
    demand_a: Floats
    group: Ints


@dataclass(frozen=True)
class Chosen:
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

    def take(self, rows: Ints) -> Chosen:
        """Some of the hypotheses only."""
        return Chosen(*(getattr(self, one.name)[rows] for one in fields(self)))


# What readings vary with together, by column of the loadings; the tolerance of each branch follows.
CURRENT, SOURCE, FAILING, OHM, TRACE_OHM, PARTS = 0, 1, 2, 3, 5, 7


@dataclass(frozen=True)
class Predicted:
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

    def covariance(self, other: Predicted) -> Floats:
        """Between these observables and others (k, m, n), apart from cranks and what each has of its own."""
        return self.loadings @ np.swapaxes(other.loadings, 1, 2)

    def columns(self, which: slice) -> Predicted:
        """Some of the observables only."""
        return Predicted(self.mean[:, which], self.loadings[:, which], self.crank[:, which], self.own[:, which])

    def take(self, rows: Ints) -> Predicted:
        """Some of the hypotheses only."""
        return Predicted(self.mean[rows], self.loadings[rows], self.crank[rows], self.own[rows])


class Predictor:
    """Predicts readings of one circuit's hypotheses, once these repairs had been done in turn."""

    def __init__(self, model: FaultModel, repairs: Sequence[str], *, comes_and_goes: bool = False) -> None:
        self.model = model
        self.repairs = tuple(repairs)
        self.comes_and_goes = comes_and_goes
        self.typical_a = model.circuit.demand_a[1]
        self.log_spread = model.circuit.demand_log_spread
        self.spread_ohm = self._healthy_spreads()
        never = len(repairs) + 1
        done_at = [
            next((number for number, repair in enumerate(repairs, 1) if site.cured_by(repair)), never)
            for site in model.sites
        ]
        # After how many repairs each site has been put right; the last is for none.
        self.done_at = np.array([*done_at, never])

    def failing_change(self, context: Context) -> float:
        """How much the current of an engine that turns may differ in a context, as a share of it, beyond its cranks.

        While a fault that comes and goes is there, all cranks differ alike.
        """
        return self.model.priors.failing_change if self.comes_and_goes and not context.away else 0.0

    def cells_in(self, cell: Ints, cured: Flags, left: Ints, context: Context) -> Ints:
        """Cells (k, 2) that show in a context."""
        cells, healthy = self.model.cells, len(self.model.cells.site) - 1
        site = cells.site[cell]
        shown = cell
        if context.away:
            instead = np.where(left[:, None] == TRACE, cells.trace[cell], healthy)
            shown = np.where(left[:, None] == SAME, cell, instead)
        if context.repairs:
            shown = np.where(cured[:, None] & (self.done_at[site] <= context.repairs), healthy, shown)
        return shown

    def shows_as(self, variant: Variant, context: Context) -> tuple[object, ...]:
        """What `cells_in` goes by: where two variants and contexts have this alike, the same cells show."""
        return variant.left if context.away else SAME, self.repairs[: context.repairs] if variant.cured else ()

    def who(self, shown: Ints, middle: Floats, step: Floats | float = 0.0) -> Who:
        cells, scale = self.model.cells, self.model.circuit.scale
        one, two = shown[:, 0], shown[:, 1]
        return Who(
            Added(
                cells.branch[shown],
                cells.added_ohm[shown] + step * cells.spread_ohm[shown],
                cells.coil_works[one] & cells.coil_works[two],
            ),
            cells.spread_ohm[shown],
            SOURCE_V * scale * cells.source_share[one] * cells.source_share[two],
            scale * np.minimum(cells.source_spread[one], cells.source_spread[two]),
            self.typical_a * np.exp(middle * self.log_spread) * np.maximum(cells.demand[one], cells.demand[two]),
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

    def tolerance(self, observables: Sequence[Observable]) -> Floats:
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
            squares = (follows * self.spread_ohm) ** 2
            table[row] = squares @ amp**2, 2.0 * squares @ (amp * volt), squares @ volt**2
        return table

    def meter(self, observables: Sequence[Observable], mean: Floats) -> Floats:
        """Variance of the meter and of what the model can't say, for readings around these means (k, m)."""
        meter = self.model.priors.meter
        clamp = np.array([bool(what.clamp) for what in observables])
        model = np.array([MODEL_SHARE if what.state == "cranking" else 0.0 for what in observables])
        least = np.where(clamp, meter.clamp_amps, meter.volts * self.model.circuit.scale) ** 2
        least += [self._key_on_v(what) ** 2 for what in observables]
        share = (np.where(clamp, meter.clamp_share, meter.share) + model) ** 2
        return share * (mean * mean) + least

    def _key_on_v(self, what: Observable) -> float:
        """What other consumers lose along a span with the key on, one standard deviation."""
        if what.state != "cranking" or what.clamp:
            return 0.0
        circuit = self.model.circuit
        ohm = sum(circuit.parts[name].ohm for name in circuit.path(what.red, what.black) or ())
        return KEY_ON_A * circuit.scale * ohm

    def rest(self, observables: Sequence[Observable], group: Ints) -> Floats:
        """Readings at rest per volt of the battery (k, m)."""
        role, groups = self.model.circuit.roles, self.model.cells.groups
        posts = {role["battery.positive"], role["battery.negative"]}
        used = np.flatnonzero(np.bincount(group))
        table = np.zeros((len(groups) ** 2, len(observables)))
        for column, what in enumerate(observables):
            if {what.red, what.black} == posts:
                table[:, column] = 1.0 if what.red == role["battery.positive"] else -1.0
            elif not what.clamp:
                for key in map(int, used):
                    broken = frozenset({groups[key // len(groups)], groups[key % len(groups)]} - {""})
                    table[key, column] = self.model.rest_volts(what, broken)
        return table[group]

    def predict(self, observables: Sequence[Observable], context: Context, chosen: Chosen) -> tuple[Predicted, Held]:
        """What hypotheses predict for observables of one context before the readings, and what is heard."""
        shown = self.cells_in(chosen.cell, chosen.cured, chosen.left, context)
        trace = ((chosen.left == TRACE) & context.away)[:, None]
        who = self.who(shown, chosen.middle, np.where(trace, chosen.step[:, 2:], chosen.step[:, :2]))
        cranking = [i for i, what in enumerate(observables) if what.state == "cranking"]
        resting = [i for i, what in enumerate(observables) if what.state != "cranking"]
        loaded = [observables[i] for i in cranking]
        load = self.model.load
        answers = load.answers(who.added, who.source_v)
        held = load.hold(answers, who.demand_a)
        readout = Readout(load.ask(loaded), held)
        per_amp = readout.per_amp(held)
        count, many, branches = len(who.source_v), len(observables), len(self.spread_ohm)
        mean, crank = np.zeros((count, many)), np.zeros((count, many))
        loadings = np.zeros((count, many, PARTS + branches))
        mean[:, cranking] = readout.values(held)
        crank[:, cranking] = per_amp * (held.varying_a * self.model.priors.crank_change)[:, None]
        width = held.turning * chosen.width * self.log_spread
        loadings[:, cranking, CURRENT] = per_amp * (who.demand_a * width)[:, None]
        stands_still = held.turning * held.varying_a * self.failing_change(context)
        loadings[:, cranking, FAILING] = per_amp * stands_still[:, None]
        loadings[:, cranking, SOURCE] = readout.per_volt(held) * who.source_spread[:, None]
        ohms = np.stack([readout.per_ohm(held, which) for which in (0, 1)], axis=2) * who.spread_ohm[:, None, :]
        if context.away:
            loadings[:, cranking, TRACE_OHM : TRACE_OHM + 2] = np.where(trace[:, None], ohms, 0.0)
            ohms = np.where(trace[:, None], 0.0, ohms)
        loadings[:, cranking, OHM : OHM + 2] = ohms
        loadings[:, cranking, PARTS:] = load.by_branch(answers, held, readout, self.spread_ohm)
        if resting:
            rest = self.rest([observables[i] for i in resting], who.group)
            mean[:, resting] = rest * who.source_v[:, None]
            loadings[:, resting, SOURCE] = rest * who.source_spread[:, None]
        own = self.meter(observables, mean)
        # As a straight line through what is predicted at the step, on to the middle of the cells.
        middle = mean - np.einsum("kmf,kf->km", loadings[:, :, OHM:PARTS], chosen.step)
        return Predicted(middle, loadings, crank, own), held

    def source_v(self, chosen: Chosen, context: Context) -> Floats:
        """The battery's own volts under each hypothesis in a context (k,)."""
        shown = self.cells_in(chosen.cell, chosen.cured, chosen.left, context)
        return self.who(shown, chosen.middle).source_v
