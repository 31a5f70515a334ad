"""How likely hypotheses make the evidence: roughly for all of them, exactly for those that are kept.

Readings are jointly Gaussian under a hypothesis. Any reading may be wrong, one or two at a time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from wizard.circuit.load import HEARD, Asked, Heard, Held, Readout, Spread
from wizard.circuit.network import Floats, Ints, Observable
from wizard.diagnosis.evidence import Context, Evidence
from wizard.diagnosis.faults import Hypotheses, evidence_weight
from wizard.diagnosis.prediction import GONE, PARTS, SAME, TRACE, Chosen, Flags, Predicted, Predictor, Variant, Who

# Of wrong readings, those that show nothing: no load or no contact. The rest may show anything that a battery can.
WRONG_SHOWS_NOTHING, _NOTHING_V, _NOTHING_A = 0.5, 0.03, 5.0
# Odds of each of HEARD when one of them is certain.
_CERTAIN = np.eye(len(HEARD))
# Hypotheses predicted at a time: few enough that the arrays stay in the processor's cache.
_CHUNK = 6000
# Of how many hypotheses times cells of current it is kept what was worked out about them: it takes room.
_KEPT_MOST = 100_000
# How many readings' odds are multiplied before a logarithm is taken.
_PRODUCT = 30
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


class _Reads(NamedTuple):
    """The readings of one context, by their places among all: those under load, those at rest, and the open spans.

    Those under load and those at rest are kept by span, counted from 0, and value: repeats are looked at once.
    `spans` and `at_rest` are these spans, each once; `asked` are those under load and the open ones, and `tolerance`
    (9, m) is the table of `Predictor.tolerance` for those under load.
    """

    context: Context
    loaded: dict[tuple[int, float], list[int]]
    resting: dict[tuple[int, float], list[int]]
    at_rest: list[Observable]
    spans: list[Observable]
    opened: list[Observable]
    asked: Asked
    tolerance: Floats


class _Cranked(NamedTuple):
    """n hypotheses with start held, each at one cell of current, with all that no reading matters to.

    `squares` (9, n) are the motor's amps and the battery's volts as `_Reads.tolerance` takes them.
    """

    who: Who
    held: Held
    spread: Spread
    squares: Floats


@dataclass(frozen=True)
class Fitted:
    """How the evidence fits k hypotheses: its log likelihood (k,), what they predict for the m readings, the readings'
    precision (k, m, m), what that makes of their differences from the means (k, m), the odds that each is wrong (k, m);
    and, as the circuit is now, the odds of what is heard (k, 5), whether the engine sets the current, the motor's amps.
    """

    log: Floats
    predicted: Predicted
    precision: Floats
    pull: Floats
    wrong: Floats
    hearing: Floats
    turning: Flags
    motor_a: Floats

    def take(self, rows: Ints) -> Fitted:
        """Some of the hypotheses only."""
        arrays = (getattr(self, name) for name in _ARRAYS)
        log, *rest = (one[rows] for one in arrays)
        return Fitted(log, self.predicted.take(rows), *rest)

    def put(self, rows: Ints, other: Fitted) -> None:
        """Other values for some of the hypotheses."""
        for name in _ARRAYS:
            getattr(self, name)[rows] = getattr(other, name)
        for one in fields(Predicted):
            getattr(self.predicted, one.name)[rows] = getattr(other.predicted, one.name)


_ARRAYS = tuple(one.name for one in fields(Fitted) if one.name != "predicted")


# What was worked out about all of a map's hypotheses: by where a chunk of them starts, the failing change, the cells.
_kept: WeakKeyDictionary[Hypotheses, dict[tuple[object, ...], _Cranked]] = WeakKeyDictionary()


class Likelihood:
    """Holds the evidence against hypotheses. `numeric` are the readings that show a number, in
    their order, `opened` those of an open span.
    """

    def __init__(self, predictor: Predictor, evidence: Evidence) -> None:
        self.predictor = predictor
        self.model = predictor.model
        self.evidence = evidence
        self.now = evidence.now
        self.numeric = tuple(m for m in evidence.measurements if m.value is not None)
        self.opened = tuple(m for m in evidence.measurements if m.value is None)
        self._values = np.array([m.value for m in self.numeric], dtype=float)

    @cached_property
    def _wrong_log(self) -> Floats:
        """Log density of a wrong reading at each value (m,)."""
        values = self._values
        clamp = np.array([bool(m.what.clamp) for m in self.numeric])
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

    def variants(self, hypotheses: Hypotheses) -> list[tuple[Variant, Ints, Floats]]:
        """Each variant with the hypotheses that it makes a difference to and its log share of them."""
        priors, rows = self.model.priors, np.arange(len(hypotheses))
        site = self.model.cells.site[hypotheses.cell]
        treated: Flags = np.any(self.predictor.done_at[site] <= len(self.evidence.repairs), axis=1)
        some: Flags = np.any(site >= 0, axis=1)
        cures = [(True, rows, np.where(treated, np.log(priors.cured), 0.0))]
        if treated.any():
            cures.append((False, rows[treated], np.full(int(treated.sum()), np.log1p(-priors.cured))))
        out: list[tuple[Variant, Ints, Floats]] = []
        for cured, of, log in cures:
            if not self._any_away:
                out.append((Variant(cured, SAME), of, log))
                continue
            shares = (priors.gone, priors.trace, 1.0 - priors.gone - priors.trace)
            out.append((Variant(cured, GONE), of, log + np.where(some[of], np.log(shares[0]), 0.0)))
            for left in (TRACE, SAME):
                kept = some[of]
                out.append((Variant(cured, left), of[kept], log[kept] + np.log(max(shares[left], 1e-6))))
        return out

    def _alike(self, which: Sequence[int]) -> dict[tuple[int, float], list[int]]:
        """Readings by their span, counted from 0 in the order they come up, and value."""
        spans = {what: number for number, what in enumerate(dict.fromkeys(self.numeric[i].what for i in which))}
        alike: dict[tuple[int, float], list[int]] = {}
        for i in which:
            alike.setdefault((spans[self.numeric[i].what], float(self._values[i])), []).append(i)
        return alike

    def screen(
        self,
        hypotheses: Hypotheses,
        variant: Variant,
        rows: Ints,
        base: Floats,
        cells: Sequence[tuple[float, ...]],
        *,
        every: bool = True,
    ) -> Floats:
        """Log weight of each hypothesis and current cell (n, cells), readings taken as independent.

        `every` says that `rows` are all hypotheses that the variant makes a difference to.
        """
        scores = np.empty((len(cells), len(rows)))
        share_log = np.log([share for _, _, share in cells])
        step = max(1, _CHUNK // len(cells))
        for start in range(0, len(rows), step):
            part = slice(start, min(start + step, len(rows)))
            cell = np.tile(hypotheses.cell[rows[part]], (len(cells), 1))
            score = (base[part] + share_log[:, None]).ravel()
            hearing: dict[Context, Floats] = {}
            for context, loaded, resting, at_rest, spans, opened, asked, tolerance in self._reads:
                cranked = self._cranked(hypotheses, rows, part, variant, context, cells, every)
                who, held = cranked.who, cranked.held
                hearing[context] = _CERTAIN[held.heard]
                if resting:
                    rest = self.predictor.rest(at_rest, who.group)
                    mean = rest * who.source_v[:, None]
                    variance = (rest * who.source_spread[:, None]) ** 2 + self.predictor.meter(at_rest, mean)
                    score += self._apart(resting, mean.T, variance.T)
                if loaded or opened:
                    readout, many = Readout(asked, held), len(spans)
                    values = readout.values(held)
                    if opened:
                        score += self._open_log(values[:, many:], who.source_v)
                    variance = readout.variance(held, cranked.spread)[:, :many]
                    variance += (tolerance.T @ cranked.squares).T
                    variance += self.predictor.meter(spans, values[:, :many])
                    score += self._apart(loaded, values[:, :many].T, variance.T)
            score += self._told_log(cell, hearing)
            scores[:, part] = score.reshape(len(cells), -1)
        return np.ascontiguousarray(scores.T)

    def _apart(self, alike: dict[tuple[int, float], list[int]], mean: Floats, variance: Floats) -> Floats:
        """Log likelihood (n,) of readings, each by itself, with means and variances (spans, n), which it uses up."""
        wrong = self.model.priors.wrong_reading
        span, first = [span for span, _ in alike], [numbers[0] for numbers in alike.values()]
        count = np.array([len(numbers) for numbers in alike.values()], dtype=np.intp)
        wrong_log = np.log(wrong) + self._wrong_log[first]
        if len(span) > len(mean):
            mean, variance = mean[span], variance[span]
        # In the arrays that came: new ones would take longer than what is done with them.
        odds = np.subtract(mean, self._values[first][:, None], out=mean)
        odds *= odds
        odds /= variance
        odds *= -0.5
        odds += (np.log1p(-wrong) - 0.5 * np.log(2 * np.pi) - wrong_log)[:, None]
        np.exp(odds, out=odds)
        odds /= np.sqrt(variance, out=variance)
        # As logaddexp or log1p, which are several times as slow; a right reading is never e^700 times as likely.
        odds += 1.0
        total = np.full(odds.shape[1], float(count @ wrong_log))
        once = count == 1
        if not once.all():
            total += count[~once] @ np.log(odds[~once])
            odds = odds[once]
        # The logarithm of products: of no more readings than keep them finite.
        for start in range(0, len(odds), _PRODUCT):
            total += np.log(np.multiply.reduce(odds[start : start + _PRODUCT]))
        return total

    @cached_property
    def _reads(self) -> list[_Reads]:
        reads: list[_Reads] = []
        for context in self._contexts():
            here = [i for i, m in enumerate(self.numeric) if m.context == context]
            loaded = [i for i in here if self.numeric[i].what.state == "cranking"]
            resting = [i for i in here if self.numeric[i].what.state != "cranking"]
            opened = [m.what for m in self.opened if m.context == context]
            spans, at_rest = (list(dict.fromkeys(self.numeric[i].what for i in some)) for some in (loaded, resting))
            tolerance = self.predictor.tolerance(spans).reshape(9, len(spans))
            asked = self.model.load.ask([*spans, *opened])
            alike = self._alike(loaded), self._alike(resting)
            reads.append(_Reads(context, *alike, at_rest, spans, opened, asked, tolerance))
        return reads

    def _cranked(
        self,
        hypotheses: Hypotheses,
        rows: Ints,
        part: slice,
        variant: Variant,
        context: Context,
        cells: Sequence[tuple[float, ...]],
        every: bool,
    ) -> _Cranked:
        """Part of these hypotheses in a context, with start held at each cell of current, one after the other.

        That takes longest and no reading matters to it: where `rows` are all of a variant, it is worked out once.
        """
        failing = self.predictor.failing_change(context)
        of = None if len(rows) == len(hypotheses) else (len(rows), self.predictor.repairs)
        key = (part.start, of, self.predictor.shows_as(variant, context), failing, *cells)
        kept = _kept.setdefault(hypotheses, {})
        if every and key in kept:
            return kept[key]
        cell = hypotheses.cell[rows[part]]
        many = len(cell)
        shown = self.predictor.cells_in(cell, np.full(many, variant.cured), np.full(many, variant.left), context)
        middle, width = (np.repeat([one[number] for one in cells], many) for number in (0, 1))
        who = self.predictor.who(np.tile(shown, (len(cells), 1)), middle)
        held = self.model.load.hold(self.model.load.answers(who.added, who.source_v), who.demand_a)
        change = held.turning * (width * self.predictor.log_spread * who.demand_a) ** 2
        change += (self.model.priors.crank_change * held.varying_a) ** 2
        change += held.turning * (failing * held.varying_a) ** 2
        quiet = held.heard == HEARD.index(Heard.NO_CLICK)
        state = np.where(quiet, 2, held.turning.astype(np.intp))
        squares = np.zeros((3, 3, len(state)))
        motor, source = held.motor_a, who.source_v
        squares[state, :, np.arange(len(state))] = np.stack([motor**2, motor * source, source**2], axis=1)
        spread = held.spread(change, who.source_spread**2, who.spread_ohm**2)
        cranked = _Cranked(who, held.values_only(), spread, squares.reshape(9, len(state)))
        if every:
            if sum(len(one.squares.T) for one in list(kept.values())) + len(state) > _KEPT_MOST:
                kept.clear()
            kept[key] = cranked
        return cranked

    def fit(self, chosen: Chosen) -> Fitted:
        """How well readings and words fit hypotheses."""
        many, count = len(self.numeric), len(chosen.cell)
        total = np.zeros(count)
        width = PARTS + len(self.predictor.spread_ohm)
        whole = Predicted(
            np.empty((count, many)), np.empty((count, many, width)), np.empty((count, many)), np.empty((count, many))
        )
        ear = self.model.load.ear
        heard: dict[Context, tuple[Held, Predicted]] = {}
        for context in dict.fromkeys([*self._contexts(), self.now]):
            here = [i for i, m in enumerate(self.numeric) if m.context == context]
            opened = [m for m in self.opened if m.context == context]
            observables = [*(self.numeric[i].what for i in here), *(m.what for m in opened)]
            predicted, held = self.predictor.predict([*observables, *ear], context, chosen)
            for one in fields(whole):
                getattr(whole, one.name)[:, here] = getattr(predicted, one.name)[:, : len(here)]
            heard[context] = held, predicted.columns(slice(len(observables), None))
            if opened:
                shown = predicted.mean[:, len(here) : len(observables)]
                total += self._open_log(shown, self.predictor.source_v(chosen, context))
        likelihood, precision, pull, wrong = self._weigh(whole)
        hearing = {context: self._hears(*heard[context], whole, precision, pull) for context in heard}
        total += likelihood + self._told_log(chosen.cell, hearing)
        held = heard[self.now][0]
        return Fitted(total, whole, precision, pull, wrong, hearing[self.now], held.turning, held.motor_a)

    def _hears(self, held: Held, ear: Predicted, whole: Predicted, precision: Floats, pull: Floats) -> Floats:
        """Odds of each of HEARD in one context under each hypothesis (k, 5), given all readings."""
        cross = ear.covariance(whole)
        mean = ear.mean + np.einsum("kem,km->ke", cross, pull)
        variance = np.einsum("kef,kef->ke", ear.loadings, ear.loadings)
        variance -= np.einsum("kem,kem->ke", cross @ precision, cross)
        return self.model.load.hearing(held, mean, np.sqrt(np.maximum(variance, 0.0)))

    def _weigh(self, whole: Predicted) -> tuple[Floats, Floats, Floats, Floats]:
        """Under each hypothesis the log likelihood of all readings (k,), their precision (k, m, m), what that makes of
        their differences from the means (k, m), and the odds that each is wrong (k, m).
        """
        count, many = len(whole.mean), len(self.numeric)
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
        likelihood, wrong = _allow_wrong(fits, precision, pull, self.model.priors.wrong_reading, self._wrong_log)
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

    def _same_crank(self) -> Floats:
        """Which readings were taken in one crank (m, m)."""
        crank = [m.crank if m.crank is not None else -m.number - 1 for m in self.numeric]
        return np.equal.outer(crank, crank).astype(float)


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
        among = np.arange(many)
        odds += both @ ((left[:, None] == among) | (right[:, None] == among)).astype(float)
    return (top + np.log(whole))[:, 0] + many * np.log1p(-wrong), odds
