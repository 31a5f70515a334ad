"""When the readings are enough to name a repair, and which of them show it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from wizard.circuit.circuit import Circuit
from wizard.circuit.limits import Limits
from wizard.circuit.map import RepairKind
from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import DOUBTED, Measurement
from wizard.diagnosis.faults import (
    CHARGE,
    FREE_ENGINE,
    MATERIAL_V,
    NEW_BATTERY,
    NEW_STARTER,
    SOURCE_SPREAD,
    Site,
    site_span,
)
from wizard.diagnosis.planner import Reach, minutes_for
from wizard.diagnosis.prediction import SOURCE_V

# A repair is named at these odds, and a circuit is called sound at the same ones.
ENOUGH = 0.95
_BATTERY = (CHARGE, NEW_BATTERY)
# The family of faults that turning the engine by hand tells of.
ENGINE_DRAGS = "engine-dragging"
# How often a repair is named in one job: what was replaced and reads as before was not at fault, and what was cleaned
# twice wants more than cleaning.
_NAMED_MOST, _REPLACED_MOST = 2, 1
# Volts lost beyond those of a sound circuit, on a 12 V system, behind which no starter is judged. Common practice, no
# source: a starter is condemned on good volts only.
_STARVED_V = 0.5
# A current below this share of the least that a healthy engine takes is too low.
_TOO_LOW = 0.85
# An answer that is so many times as likely of a family of faults as of others is word of a test of that thing.
_TESTED = 10.0
# What failed such a test is named at these odds.
_ENOUGH_TESTED = 0.85
# A reading may serve in a difference while its own uncertainty stays below this share of the drop that is looked for;
# one this small (in volts) always may.
_BLUR, _BLUR_V = 0.2, 0.3
# Half the width of a 90 % band, in standard deviations.
_BAND = 1.645


@dataclass(frozen=True)
class Drop:
    """Volts between two points as readings tell: one reading across, or two whose difference it is.

    `spread_v` is how far the difference of two cranks may be off, one standard deviation; 0 for a reading across.
    """

    volts: float | None
    numbers: tuple[int, ...]
    spans: tuple[Observable, ...]
    spread_v: float = 0.0


@dataclass(frozen=True)
class Shown:
    """A repair that readings show directly: the site, the drop across it and what a sound one would lose."""

    site: Site
    drop: Drop
    start: str
    end: str
    expected_v: tuple[float, float]


def drop_between(measurements: Sequence[Measurement], start: str, end: str, crank_change: float = 0.0) -> Drop | None:
    """Volts lost from `start` to `end` while cranking; repeats of a span are averaged.

    `crank_change` is how much the current differs from crank to crank, which a difference of two readings suffers.
    """
    spans: dict[tuple[str, str], list[Measurement]] = {}
    for m in measurements:
        if m.what.state == "cranking" and not m.what.clamp:
            spans.setdefault((m.what.red, m.what.black), []).append(m)

    def across(red: str, black: str) -> tuple[float | None, list[Measurement]] | None:
        for sign, key in ((1.0, (red, black)), (-1.0, (black, red))):
            if key in spans:
                values = [m.value for m in spans[key] if m.value is not None]
                return (sign * float(np.mean(values)) if values else None), spans[key]
        return None

    if direct := across(start, end):
        volts, used = direct
        return Drop(volts, tuple(m.number for m in used), (used[0].what,))
    found: list[Drop] = []
    for point in dict.fromkeys(end for key in spans for end in key):
        first, second = across(point, start), across(point, end)
        if first and second and first[0] is not None and second[0] is not None:
            used = [*first[1], *second[1]]
            cranks = {m.crank if m.crank is not None else -m.number - 1 for m in used}
            spread = 0.0 if len(cranks) == 1 else crank_change * float(np.hypot(first[0], second[0]))
            both = (first[1][0].what, second[1][0].what)
            found.append(Drop(second[0] - first[0], tuple(m.number for m in used), both, spread))
    return min(found, key=lambda drop: drop.spread_v, default=None)


def trusted(belief: Belief, *, away: bool | None = None) -> list[Measurement]:
    """Readings since the last repair that are more likely right than wrong, as the circuit is now.

    `away` asks instead for those taken while a fault that comes and goes was away, or was there.
    """
    context = belief.now if away is None else belief.now._replace(away=away)
    return [
        m for m in belief.evidence.measurements if m.context == context and belief.doubt.get(m.number, 0.0) < DOUBTED
    ]


def expected_band(belief: Belief, what: Observable) -> tuple[float, float]:
    """Where nine of ten sound circuits would read, at the current as far as it is known."""
    return expected_bands(belief, [what])[0]


def expected_bands(belief: Belief, observables: Sequence[Observable]) -> list[tuple[float, float]]:
    """The same for many observables at once."""
    mean, spread = belief.healthy(observables)
    full = (SOURCE_V + _BAND * SOURCE_SPREAD) * belief.model.circuit.scale
    return [_band(float(m), float(s), what, full) for m, s, what in zip(mean, spread, observables, strict=True)]


def _band(mean: float, spread: float, what: Observable, full: float) -> tuple[float, float]:
    # A meter in the bay shows hundredths of a volt: a narrower band would be a pretence.
    wide = _BAND * max(spread, 1.0 if what.clamp else 0.003)
    low, high = mean - wide, mean + wide
    if not what.clamp:
        # No more than a battery has.
        low, high = max(low, -full), min(high, full)
    return (max(low, 0.0), high) if mean >= 0 else (low, min(high, 0.0))


def shown(belief: Belief, limits: Limits, repair: str) -> Shown | None:
    """How readings show a repair directly, or None: never condemn on odds alone.

    For a part there must be a drop over that repair's own parts and nothing else, above what a sound one loses. For
    battery, starter and coil there must be a reading at that very thing: of the battery one below its floor, and of a
    starter beside it a current too low for a healthy engine, or word of what is heard now. What was read while a fault
    that comes and goes was taken to be away shows it too, when nothing else does.
    """
    pools = (trusted(belief), trusted(belief, away=not belief.now.away))
    return next((found for pool in pools if pool and (found := _shown_by(belief, limits, repair, pool))), None)


def _shown_by(belief: Belief, limits: Limits, repair: str, measurements: Sequence[Measurement]) -> Shown | None:
    circuit = belief.model.circuit
    sites = belief.sites_of(repair)
    own_parts = {site.part for _, site in sites}
    for odds, site in sites:
        if odds < 0.02:
            continue
        start, end = site_span(circuit, site)
        if site.part in circuit.parts:
            for red, black in _spans_within(circuit, own_parts, start, end, measurements):
                drop = drop_between(measurements, red, black, belief.model.priors.crank_change)
                if drop is None:
                    continue
                expected = expected_band(belief, Observable("cranking", red, black))
                least = 0.5 * MATERIAL_V * circuit.scale
                if drop.volts is None or abs(drop.volts) - _BAND * drop.spread_v > max(expected[1], least):
                    return Shown(site, drop, red, black, expected)
            continue
        state = "resting" if site.fault == "discharged" else "cranking"
        behind = site.part in ("starter", "engine") and not failed_test(belief, site)
        if behind and _starved(belief, measurements):
            continue
        if (
            site.part == "starter"
            and site.fault == "dragging"
            and not (failed_test(belief, site) or _engine_turns(belief))
        ):
            continue
        if site.fault == "dragging":
            used = [m for m in measurements if m.what.state == "cranking"]
            if any(m.what.clamp for m in used) or len(used) >= 3:
                best = next((m for m in used if m.what.clamp), used[0])
                return _whole(belief, site, best)
            continue
        if site.part in ("starter", "coil") and belief.evidence.turns_well:
            continue
        if site.part == "starter" and not _starter_shows(belief, site):
            continue
        if site.family == "battery-worn" and not _charged(belief, limits):
            continue
        for m in measurements:
            if m.what.state == state and {m.what.red, m.what.black} == {start, end} and m.value is not None:
                row = limits.floor_row(circuit, state, start, end)
                if site.part == "battery" and row and m.value >= limits.floor(circuit, row)[0]:
                    continue
                # A coil is judged on the volts that reach it, as a starter is: without them its wire is in question.
                if site.part == "coil" and abs(m.value) < circuit.map.solenoid.pull_in_v:
                    continue
                return _whole(belief, site, m)
    return None


def _starved(belief: Belief, measurements: Sequence[Measurement]) -> bool:
    """Whether so much was read to be lost on the way that starter and engine can't be judged behind it."""
    circuit = belief.model.circuit
    loop, least = set(circuit.main_loop), _STARVED_V * circuit.scale
    drops = [
        m
        for m in measurements
        if m.what.state == "cranking"
        and not m.what.clamp
        and set(circuit.path(m.what.red, m.what.black) or ["?"]) <= loop
    ]
    bands = expected_bands(belief, [m.what for m in drops]) if drops else []
    return any(m.value is None or m.value - high > least for m, (_, high) in zip(drops, bands, strict=True))


def _starter_shows(belief: Belief, site: Site) -> bool:
    """Whether more than volts at the motor speak for the starter: a sound one gets good volts too."""
    middle, _ = belief.current_a
    if middle > belief.model.circuit.demand_a[2]:
        # So much may be asked for by an engine that is held fast as well.
        return failed_test(belief, site) or _engine_turns(belief)
    failed = failed_test(belief, site) or belief.evidence.turns_well is False
    return failed or draws_too_little(belief)


def _engine_turns(belief: Belief) -> bool:
    """Whether an answer tells that the engine was turned by hand and is free."""
    tables = belief.evidence.tables
    return any(ENGINE_DRAGS in table and table[ENGINE_DRAGS] * _TESTED <= table["otherwise"] for table in tables)


def failed_test(belief: Belief, site: Site) -> bool:
    """Whether an answer tells of a test of the thing itself that it failed."""
    tables = belief.evidence.tables
    return any(site.family in table and table[site.family] > _TESTED * table["otherwise"] for table in tables)


def failed_by_hand(belief: Belief) -> bool:
    """Whether an answer tells that the engine was turned by hand and is not free."""
    tables = belief.evidence.tables
    return any(table.get(ENGINE_DRAGS, 0.0) > _TESTED * table["otherwise"] for table in tables)


def draws_too_little(belief: Belief) -> bool:
    """Whether less current flows than any healthy engine takes."""
    middle, _ = belief.current_a
    return middle < _TOO_LOW * belief.model.circuit.demand_a[0]


def _charged(belief: Belief, limits: Limits) -> bool:
    """Whether the battery is known to be charged: a flat one falls under the starter as a worn one does."""
    circuit = belief.model.circuit
    _, floor = limits.floor(circuit, "battery-resting")
    # Whether a fault that comes and goes was there or away says nothing of the charge.
    since = sorted([*trusted(belief, away=True), *trusted(belief, away=False)], key=lambda m: m.number)
    rested = [m.value for m in since if _rests(circuit, m.what) and m.value is not None]
    return CHARGE in belief.evidence.repairs if not rested else rested[-1] >= floor


def _rests(circuit: Circuit, what: Observable) -> bool:
    return what.state == "resting" and {what.red, what.black} == {
        circuit.roles["battery.positive"],
        circuit.roles["battery.negative"],
    }


def _whole(belief: Belief, site: Site, m: Measurement) -> Shown:
    drop = Drop(m.value, (m.number,), (m.what,))
    return Shown(site, drop, m.what.red, m.what.black, expected_band(belief, m.what))


def _spans_within(
    circuit: Circuit, own: set[str], start: str, end: str, measurements: Sequence[Measurement]
) -> list[tuple[str, str]]:
    """Spans that lie within one repair: the part itself first, then any that its other parts make longer."""
    spans = [(start, end)]
    if len(own) > 1:
        points = dict.fromkeys(p for m in measurements for p in (m.what.red, m.what.black) if p)
        for red in points:
            for black in points:
                path = circuit.path(red, black) if red != black else None
                if path and set(path) <= own:
                    spans.append((red, black))
    return spans


def _number(belief: Belief, site: Site) -> int:
    return next(n for n, other in enumerate(belief.model.sites) if other is site)


@dataclass(frozen=True)
class Awaited:
    """A part that only the difference of two readings shows, and the reading straight across it."""

    repair: str
    numbers: tuple[int, ...]
    what: Observable


def straight_across(belief: Belief, reach: Reach, repair: str, evidence: Shown) -> Awaited | None:
    """The reading that a part still wants before it is named; None where it has it or can't have it.

    One lead on the bolt in place of the lug makes the difference of two readings a fault of the cable between them.
    Cleaning on such a difference costs minutes, a part costs money: it is read straight across once. So is whatever
    stands on the difference of two cranks where the fault comes and goes: it may have been there in one of them alone.
    """
    drop = evidence.drop
    differs = belief.evidence.intermittent and drop.spread_v > 0.0
    if len(drop.spans) < 2 or not (differs or belief.model.circuit.repairs[repair].fits_a_part):
        return None
    ends = {evidence.start, evidence.end}
    if ends & reach.out_of_reach:
        return None
    taken = [
        m
        for m in belief.evidence.measurements
        if m.context.repairs == belief.now.repairs and m.what.state == "cranking" and {m.what.red, m.what.black} == ends
    ]
    # Read once and in doubt, it is read once more.
    once_more = len(taken) == 1 and belief.doubt.get(taken[0].number, 0.0) >= DOUBTED
    if taken and not once_more:
        return None
    what = Observable("cranking", evidence.start, evidence.end)
    if belief.model.healthy_volts(what) < 0.0:
        what = Observable("cranking", evidence.end, evidence.start)
    return Awaited(repair, drop.numbers, what)


def direct_tests(belief: Belief, repair: str, reach: Reach) -> list[Observable]:
    """Readings that would show this repair directly, the quickest first."""
    circuit = belief.model.circuit
    measurements = trusted(belief)
    found: dict[Observable, float] = {}
    for odds, site in belief.sites_of(repair)[:3]:
        if odds < 0.02:
            continue
        start, end = site_span(circuit, site)
        state = "resting" if site.fault == "discharged" else "cranking"
        options = [Observable(state, start, end)]
        if site.family == "battery-worn":
            options.append(Observable("resting", start, end))
        # The difference of two large readings, each of a crank of its own, would blur the drop that is looked for.
        excess = belief.excess_ohm(_number(belief, site))
        drop_v = (excess[1] if excess else 0.0) * belief.current_a[0]
        blur = max(_BLUR_V, drop_v * _BLUR / max(belief.model.priors.crank_change, 1e-6))
        # Before a part is bought it is read straight across, where it can be: a difference would not do.
        straight = circuit.repairs[repair].fits_a_part and not {start, end} & reach.out_of_reach
        if site.part in circuit.parts and not straight:
            for m in measurements:
                if m.value is None or m.what.clamp or m.what.state != "cranking" or m.value > blur:
                    continue
                for red, black in ((m.what.red, m.what.black), (m.what.black, m.what.red)):
                    for have, want in ((start, end), (end, start)):
                        if black == have and red != want:
                            options.append(Observable(state, red, want))
        elif site.fault == "dragging" and reach.clamp_meter:
            cables = [name for name in circuit.main_loop if circuit.parts[name].part.kind == "cable"]
            options = [Observable(state, clamp=name) for name in cables[:1]] or options
        for what in options:
            if not what.clamp and belief.model.healthy_volts(what) < 0.0:
                what = Observable(what.state, what.black, what.red)
            if not {what.red, what.black} & reach.out_of_reach:
                found.setdefault(what, minutes_for(circuit, what, reach))
    done = {(m.what.state, frozenset((m.what.red, m.what.black)), m.what.clamp) for m in measurements}
    return sorted(
        (what for what in found if (what.state, frozenset((what.red, what.black)), what.clamp) not in done),
        key=lambda what: found[what],
    )


def top_repair(belief: Belief) -> tuple[str, float]:
    """The likeliest repair and its odds."""
    return max(belief.repair_probability.items(), key=lambda pair: pair[1])


def surely_needed(belief: Belief, likely: float) -> list[str]:
    """Repairs that are needed with at least these odds, the one to do first and then the likeliest."""
    first, _ = top_repair(belief)
    odds = belief.needed_probability
    named = [name for name, share in odds.items() if share >= likely]
    return sorted(named, key=lambda name: (name != first, -odds[name]))


def find(belief: Belief, limits: Limits) -> tuple[str, Shown] | None:
    """The repair that the readings call for, when it is likely enough and directly shown.

    A battery that rests below its floor is charged before anything else is judged: whether it is also worn, and what
    else is wrong, shows only then.
    """
    return next((found for found in _called_for(belief, limits) if found and not _done_enough(belief, found[0])), None)


def spent(belief: Belief, limits: Limits) -> bool:
    """Whether readings call for a repair that was done as often as it may be, and for no other."""
    called = [found[0] for found in _called_for(belief, limits) if found]
    return bool(called) and all(_done_enough(belief, repair) for repair in called)


def _called_for(belief: Belief, limits: Limits) -> Iterator[tuple[str, Shown] | None]:
    if top_repair(belief)[0] in _BATTERY:
        flat = shown(belief, limits, NEW_BATTERY if CHARGE in belief.evidence.repairs else CHARGE)
        if flat is not None and flat.site.repair == CHARGE and flat.drop.volts is not None:
            _, floor = limits.floor(belief.model.circuit, "battery-resting")
            both = sum(belief.repair_probability.get(name, 0.0) for name in _BATTERY)
            if flat.drop.volts < floor or both >= ENOUGH:
                yield belief.repair_of(flat.site), flat
    for repair in surely_needed(belief, ENOUGH):
        if evidence := shown(belief, limits, repair):
            yield repair, evidence
    yield _over_its_limit(belief, limits)
    yield _low_under_load(belief, limits)
    yield _failed_its_test(belief, limits)


def _done_enough(belief: Belief, repair: str) -> bool:
    """Whether a repair was done so often already that doing it once more is no answer."""
    replaced = belief.model.circuit.repairs[repair].kind is RepairKind.REPLACE
    return belief.evidence.repairs.count(repair) >= (_REPLACED_MOST if replaced else _NAMED_MOST)


def _over_its_limit(belief: Belief, limits: Limits) -> tuple[str, Shown] | None:
    """A fault that is sure in its place, however small, and whose own reading is over its limit."""
    number = int(np.argmax(belief.site_probability))
    site = belief.model.sites[number]
    if belief.site_probability[number] < ENOUGH:
        return None
    repair = belief.repair_of(site)
    evidence = shown(belief, limits, repair)
    if evidence is None or evidence.site is not site or evidence.drop.volts is None or evidence.drop.spans[0].clamp:
        return None
    state, volts = evidence.drop.spans[0].state, abs(evidence.drop.volts)
    _, judgement = limits.judge(belief.model.circuit, state, evidence.start, evidence.end, volts)
    return (repair, evidence) if judgement == "over" else None


def _failed_its_test(belief: Belief, limits: Limits) -> tuple[str, Shown] | None:
    """What is likely at fault, however mildly, and failed its own test: a starter on the bench, an engine by hand."""
    for repair in (NEW_STARTER, FREE_ENGINE):
        sites = belief.sites_of(repair)
        failed = [site for _, site in sites if failed_test(belief, site)]
        if failed and sum(odds for odds, _ in sites) >= _ENOUGH_TESTED and (evidence := shown(belief, limits, repair)):
            return repair, evidence
    return None


def _low_under_load(belief: Belief, limits: Limits) -> tuple[str, Shown] | None:
    """A battery that is sure to be at fault, however mildly, and falls below its floor: charged first if not full."""
    odds = zip(belief.site_probability, belief.model.sites, strict=True)
    worn = shown(belief, limits, NEW_BATTERY)
    if worn is None or sum(float(share) for share, site in odds if site.part == "battery") < ENOUGH:
        return None
    flat = None if CHARGE in belief.evidence.repairs else shown(belief, limits, CHARGE)
    return (CHARGE, flat) if flat is not None else (NEW_BATTERY, worn)
