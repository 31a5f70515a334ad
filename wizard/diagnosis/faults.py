"""What can be wrong: every single fault, and every pair, with how likely it is before anything was measured.

A *site* is one thing that can be wrong. Each site has *cells*: steps of severity, each a Gaussian about its middle.
A *hypothesis* is one cell, or two cells of different sites.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wizard.circuit.circuit import Circuit
from wizard.circuit.load import HEARD, Added, Heard, LoadModel, Readout, rest_volts
from wizard.circuit.map import Side
from wizard.circuit.network import BATTERY, COIL, MOTOR, OPEN_OHM, Floats, Ints, Observable
from wizard.diagnosis.priors import Priors

NO_REPAIR, CHARGE, NEW_BATTERY = "no-repair", "charge-battery", "replace-battery"
NEW_STARTER, FREE_ENGINE = "replace-starter", "free-the-engine"
# A charged 12 V battery's own volts vary by this much, one standard deviation; common practice, no source.
SOURCE_SPREAD = 0.13
# An excess that loses less than this in a 12 V system is no reason to repair anything; common practice, no source.
MATERIAL_V, MATERIAL_CONTROL_V = 0.1, 0.3
# The current that a battery is held against its floor at, over the typical one.
_HARD = 1.2
# Ratio from one severity to the next: fine for single faults, coarse for pairs.
_FINE, _COARSE = 1.6, 2.8
# Faults too small to matter, for each one that matters.
_MINOR = 0.15
# A Gaussian as the sum of five narrower ones, in its standard deviations: (middle, width, share).
IN_FIVE = ((-1.7, 0.42, 0.10), (-0.85, 0.42, 0.24), (0.0, 0.42, 0.32), (0.85, 0.42, 0.24), (1.7, 0.42, 0.10))
# A severity whose readings differ in kind this far to either side of its middle is cut in five.
_FAR = 1.6
# The kind of a circuit whose contacts stay open, beside one that turns or stalls.
_QUIET = 2
# A cell's standard deviation over its middle is this share of (ratio - 1), so that neighbours melt into one another.
_WIDTH = 0.48


@dataclass(frozen=True)
class History:
    """What the customer knows, as far as it changes the odds."""

    replaced: frozenset[str] = frozenset()
    helped_by: tuple[str, ...] = ()
    touched: str | None = None
    comes_and_goes: bool = False


@dataclass(frozen=True)
class Cell:
    """One severity of a site; ohms are added in series in the site's branch, volts are the battery's own."""

    weight: float
    added_ohm: float = 0.0
    spread_ohm: float = 0.0
    source_share: float = 1.0
    source_spread: float = SOURCE_SPREAD
    demand: float = 1.0
    coil_works: bool = True
    is_open: bool = False
    minor: bool = False


@dataclass(frozen=True)
class Site:
    """One thing that can be wrong: the part and fault that findings name, the family that evidence speaks of."""

    part: str
    fault: str
    family: str
    branch: str
    repair: str
    weight: float
    fine: tuple[Cell, ...]
    coarse: tuple[Cell, ...]
    trace: Cell = Cell(1.0)

    def cured_by(self, repair: str) -> bool:
        """Whether a repair puts this right: a new battery is a charged one."""
        return repair == self.repair or (repair == NEW_BATTERY and self.repair == CHARGE)

    def repair_after(self, done: Sequence[str]) -> str:
        """The repair that this calls for when these were done: a battery that charging leaves flat has to go."""
        return NEW_BATTERY if self.repair == CHARGE and CHARGE in done else self.repair


@dataclass(frozen=True)
class Cells:
    """Every cell of every site side by side, as arrays of length c; the healthy circuit is the last one.

    `site` is -1 for the healthy circuit. `repair` indexes the model's repairs: what the cell calls for alone;
    `by_volts` is how much it costs. `group` indexes `groups`: the branch that carries nothing, if any.
    `trace` (c,) is the cell that a fault leaves behind while it is away.
    """

    site: Ints
    branch: Ints
    added_ohm: Floats
    spread_ohm: Floats
    source_share: Floats
    source_spread: Floats
    demand: Floats
    coil_works: NDArray[np.bool_]
    is_open: NDArray[np.bool_]
    minor: NDArray[np.bool_]
    weight: Floats
    repair: Ints
    by_volts: Floats
    groups: tuple[str, ...]
    group: Ints
    trace: Ints


@dataclass(frozen=True, eq=False)
class Hypotheses:
    """n hypotheses: the cells of their two faults (n, 2), the last cell standing for none, and their log prior (n,)."""

    cell: Ints
    log_prior: Floats

    def __len__(self) -> int:
        return len(self.log_prior)


def _ladder(least: float, most: float, ratio: float) -> list[float]:
    """Middles of steps of about this ratio from `least` to `most`, even in the logarithm."""
    steps = max(1, math.ceil(math.log(most / least) / math.log(ratio)))
    return [least * (most / least) ** ((step + 0.5) / steps) for step in range(steps)]


def _excess_cells(material_ohm: float, most_ohm: float, ratio: float, open_share: float) -> tuple[Cell, ...]:
    """Log-spaced severities: half a decade below what matters, then up to `most_ohm`, then a break."""
    below = _ladder(material_ohm * 0.35, material_ohm, max(ratio, 1.7))
    above = _ladder(material_ohm, most_ohm, ratio)
    if ratio < _COARSE:
        # Beyond, hardly any current flows and coarse steps tell as much.
        above += _ladder(most_ohm, 20.0 * most_ohm, 3.0)
    share = (1.0 - open_share) / (1.0 + _MINOR)
    cells = [Cell(share * _MINOR / len(below), ohm, ohm * _WIDTH * 0.4, minor=True) for ohm in below]
    # Milder faults are the commoner ones: the weight falls with the square root of a decade.
    fall = np.array([(ohm / material_ohm) ** -0.15 for ohm in above])
    fall *= share / fall.sum()
    cells += [Cell(float(weight), ohm, ohm * _WIDTH * (ratio - 1.0)) for weight, ohm in zip(fall, above, strict=True)]
    return (*cells, Cell(open_share, OPEN_OHM, 0.0, is_open=True))


def sites_of(circuit: Circuit, priors: Priors, history: History) -> tuple[Site, ...]:
    """Every site of a circuit with its weight, changed by history."""
    scale, typical = circuit.scale, circuit.demand_a[1]
    sites: list[Site] = []
    tables = [priors.helped_by[name] for name in history.helped_by if name in priors.helped_by]
    if history.comes_and_goes:
        tables.append(priors.comes_and_goes)

    def weigh(base: float, part: str, *families: str) -> float:
        for table in tables:
            for family in families:
                base *= table.get(family, 1.0)
        return base * (priors.replaced if part in history.replaced else 1.0)

    for name, passive in circuit.parts.items():
        part = passive.part
        control = part.side is Side.CONTROL
        base = part.fault_weight
        if base is None:
            base = (priors.control_kinds if control else priors.kinds)[part.kind]
        weight = weigh(base, name, str(part.kind))
        if history.touched is not None and history.touched in part.between:
            weight *= priors.touched
        if control:
            material, most = MATERIAL_CONTROL_V * scale / circuit.map.solenoid.hold_in_a, 7.0 * circuit.pull_in_ohm
        else:
            material, most = MATERIAL_V * scale / typical, 0.3 * scale * 170.0 / typical
        sites.append(
            Site(
                name,
                "high-resistance",
                str(part.kind),
                name,
                part.repair,
                weight,
                _excess_cells(material, most, _FINE, priors.open_share),
                _excess_cells(material, most, _COARSE, priors.open_share),
                Cell(1.0, 1.3 * material, 0.9 * material),
            )
        )
    own = circuit.battery_ohm
    rotor = circuit.rotor_ohm

    def family(part: str, fault: str, branch: str, repair: str, fine: list[Cell], coarse: list[Cell]) -> None:
        key = f"{part}-{fault}"
        weight = weigh(priors.families[key], part, key)
        total_fine, total_coarse = sum(c.weight for c in fine), sum(c.weight for c in coarse)
        sites.append(
            Site(
                part,
                fault,
                key,
                branch,
                repair,
                weight,
                tuple(_reweighed(cell, total_fine) for cell in fine),
                tuple(_reweighed(cell, total_coarse) for cell in coarse),
            )
        )

    # Volts at rest against charge, and the resistance that goes with it.
    flat = [
        Cell(1.0, own * extra, own * extra * 0.5, volts / 12.6, 0.6 * SOURCE_SPREAD)
        for volts, extras in (
            (12.28, (0.3, 1.0)),
            (12.1, (0.5, 1.5)),
            (11.9, (0.8, 2.5)),
            (11.65, (1.0, 4.0)),
            (11.3, (1.5, 6.0, 14.0)),
            (10.6, (2.0, 8.0, 18.0)),
        )
        for extra in extras
    ]
    family("battery", "discharged", BATTERY, CHARGE, flat, flat[2::2])
    tired = [Cell(1.0, own * extra, own * extra * 0.22) for extra in (0.9, 1.5, 2.4, 3.8, 6.0, 9.6, 15.0, 25.0, 60.0)]
    family("battery", "worn", BATTERY, NEW_BATTERY, tired, tired[2::2])
    brushes = [Cell(1.0, rotor * extra, rotor * extra * 0.25) for extra in (0.6, 1.0, 1.7, 3.0, 5.0, 9.0, 20.0)]
    family("starter", "worn", MOTOR, NEW_STARTER, brushes, brushes[1::2])
    family("starter", "open", MOTOR, NEW_STARTER, *([Cell(1.0, OPEN_OHM, is_open=True)],) * 2)
    shorted = [
        Cell(1.0, -0.45 * rotor, 0.1 * rotor, demand=10.0),
        Cell(1.0, -0.65 * rotor, 0.07 * rotor, demand=10.0),
    ]
    family("starter", "shorted", MOTOR, NEW_STARTER, shorted, shorted[1:])
    high = circuit.demand_a[2] / typical
    drags = [Cell(1.0, demand=high * factor) for factor in (1.3, 1.55, 1.85, 2.2, 2.8)]
    family("starter", "dragging", BATTERY, NEW_STARTER, drags, drags[1::2])
    family("engine", "dragging", BATTERY, FREE_ENGINE, drags, drags[1::2])
    # The coil belongs to the solenoid, as the contacts do.
    solenoid = circuit.parts[circuit.map.solenoid.contacts].part.repair
    family("coil", "open", BATTERY, solenoid, *([Cell(1.0, coil_works=False)],) * 2)
    return tuple(site for site in sites if site.weight > 0)


def _parts(cell: Cell, *, cut: bool) -> tuple[Cell, ...]:
    """A cell in five, or as it is."""
    if not cut:
        return (cell,)
    return tuple(
        replace(
            cell,
            weight=cell.weight * share,
            added_ohm=max(cell.added_ohm + middle * cell.spread_ohm, 0.1 * cell.added_ohm),
            spread_ohm=width * cell.spread_ohm,
        )
        for middle, width, share in IN_FIVE
    )


def _reweighed(cell: Cell, total: float) -> Cell:
    return replace(cell, weight=cell.weight / total)


@dataclass
class FaultModel:
    """All hypotheses about one circuit, with the load model that predicts what each would read."""

    circuit: Circuit
    priors: Priors
    history: History
    load: LoadModel = field(init=False)
    sites: tuple[Site, ...] = field(init=False)
    _healthy: dict[Observable, float] = field(init=False, default_factory=dict[Observable, float])
    _rest: dict[tuple[Observable, frozenset[str]], float] = field(
        init=False, default_factory=dict[tuple[Observable, frozenset[str]], float]
    )

    def __post_init__(self) -> None:
        self.load = LoadModel(self.circuit)
        self.sites = self._cut(sites_of(self.circuit, self.priors, self.history))

    def _cut(self, sites: Sequence[Site]) -> tuple[Site, ...]:
        """The sites with those single severities cut that straddle a change in kind, at any likely current.

        Readings jump where the engine stalls and where the contacts stay open, and bend beyond: no straight line leads
        there.
        """
        circuit, index = self.circuit, self.load.index
        flat = [(site, cell) for site in sites for cell in site.fine]
        branch = np.array([[index[site.branch], index[BATTERY]] for site, _ in flat])
        added, spread, share, demand = (
            np.array([getattr(cell, name) for _, cell in flat])
            for name in ("added_ohm", "spread_ohm", "source_share", "demand")
        )
        works = np.array([cell.coil_works for _, cell in flat])
        kinds: list[Ints] = []
        for far in (-_FAR, _FAR):
            ohm = np.stack([added + far * spread, np.zeros(len(flat))], axis=1)
            answers = self.load.answers(Added(branch, ohm, works), 12.6 * circuit.scale * share)
            for middle, _, _ in IN_FIVE:
                current = circuit.demand_a[1] * np.exp(middle * circuit.demand_log_spread)
                held = self.load.hold(answers, current * demand)
                quiet = held.heard == HEARD.index(Heard.NO_CLICK)
                kinds.append(np.where(quiet, _QUIET, held.turning.astype(np.intp)))
        low, high = np.split(np.stack(kinds), 2)
        straddles = iter(((low != high) | ((high == _QUIET) & (spread > 0))).any(axis=0))
        return tuple(
            replace(site, fine=tuple(part for cell in site.fine for part in _parts(cell, cut=bool(next(straddles)))))
            for site in sites
        )

    @cached_property
    def repairs(self) -> tuple[str, ...]:
        """Every repair that a site has, in the order of the sites, and no repair last."""
        return (*dict.fromkeys(site.repair for site in self.sites), NO_REPAIR)

    @cached_property
    def cells(self) -> Cells:
        """All cells: each site's fine and coarse ones, the traces, and the healthy circuit."""
        flat = [(n, cell) for n, site in enumerate(self.sites) for cell in (*site.fine, *site.coarse, site.trace)]
        flat.append((-1, Cell(1.0)))
        index = self.load.index
        site = np.array([number for number, _ in flat])
        branch = [self.sites[n].branch if n >= 0 else BATTERY for n, _ in flat]
        names = [
            COIL if not cell.coil_works else own if cell.is_open else ""
            for own, (_, cell) in zip(branch, flat, strict=True)
        ]
        groups = list(dict.fromkeys(["", *names]))
        bare = Cells(
            site=site,
            branch=np.array([index[own] for own in branch]),
            weight=np.array([cell.weight * (self.sites[n].weight if n >= 0 else 1.0) for n, cell in flat]),
            groups=tuple(groups),
            group=np.array([groups.index(name) for name in names]),
            trace=np.array([*self._places("trace"), len(flat) - 1]),
            repair=np.empty(0, dtype=np.intp),
            by_volts=np.empty(0),
            **{name: np.array([getattr(cell, name) for _, cell in flat]) for name in _CELL_FIELDS},
        )
        repair, by_volts = self._judged(bare)
        # What is too small to matter leaves no more behind than itself.
        small = repair == len(self.repairs) - 1
        trace = np.where(small, np.arange(len(flat)), bare.trace[site])
        return replace(bare, repair=repair, by_volts=by_volts, trace=trace)

    def _places(self, which: str) -> list[int]:
        """Where each site's cells of one sort lie among all cells."""
        places: list[int] = []
        start = 0
        for site in self.sites:
            fine, coarse = len(site.fine), len(site.coarse)
            own = {
                "fine": range(start, start + fine),
                "coarse": range(start + fine, start + fine + coarse),
                "trace": range(start + fine + coarse, start + fine + coarse + 1),
            }
            places += own[which]
            start += fine + coarse + 1
        return places

    @cached_property
    def singles(self) -> Hypotheses:
        """Every single fault in fine steps, and the healthy circuit last."""
        healthy = len(self.cells.site) - 1
        first = np.array([*self._places("fine"), healthy])
        weight = self.cells.weight[first]
        weight[-1] = self.priors.families["nothing"]
        return Hypotheses(np.stack([first, np.full(len(first), healthy)], axis=1), np.log(weight))

    @cached_property
    def pairs(self) -> Hypotheses:
        """Every pair of faults that both matter, in coarse steps."""
        cells = self.cells
        coarse = np.array(self._places("coarse"))
        # A part beside another path matters only once that path is bad as well: its faults count by their size.
        passive = np.array([site.part in self.circuit.parts for site in self.sites])
        calls = cells.repair[coarse] != len(self.repairs) - 1
        big = coarse[np.where(passive[cells.site[coarse]], ~cells.minor[coarse], calls)]
        one, two = (big[side] for side in np.triu_indices(len(big), 1))
        # Pairs within battery, starter and engine ask the same of the meter as one of them alone.
        apart = (cells.branch[one] != cells.branch[two]) & (passive[cells.site[one]] | passive[cells.site[two]])
        one, two = one[apart], two[apart]
        total = sum(site.weight for site in self.sites)
        weight = cells.weight[one] * cells.weight[two] * (2.0 * self.priors.two_faults / total)
        return Hypotheses(np.stack([one, two], axis=1), np.log(weight))

    def healthy_volts(self, what: Observable) -> float:
        """What the healthy circuit reads here at the typical current: its sign tells the current's direction."""
        if what.state != "cranking":
            return self.rest_volts(what, frozenset()) * 12.6 * self.circuit.scale
        if what not in self._healthy:
            index = self.load.index
            none = Added(np.array([[index[BATTERY], index[MOTOR]]]), np.zeros((1, 2)), np.array([True]))
            source, demand = np.array([12.6 * self.circuit.scale]), np.array([self.circuit.demand_a[1]])
            held = self.load.hold(self.load.answers(none, source), demand)
            self._healthy[what] = float(Readout(self.load.ask([what]), held).values(held)[0, 0])
        return self._healthy[what]

    def rest_volts(self, what: Observable, broken: frozenset[str]) -> float:
        """One reading at rest per volt of the battery, with these branches broken."""
        key = (what, broken)
        if key not in self._rest:
            self._rest[key] = float(rest_volts(self.circuit, [what], broken)[0])
        return self._rest[key]

    def _judged(self, cells: Cells) -> tuple[Ints, Floats]:
        """For each cell alone: the repair it calls for, and the volts that it costs.

        An excess that loses little and changes nothing in how it cranks calls for no repair.
        """
        circuit, count = self.circuit, len(cells.site)
        role = circuit.roles
        spans = [Observable("cranking", *site_span(circuit, site)) for site in self.sites]
        posts = Observable("cranking", role["battery.positive"], role["battery.negative"])
        branch = np.stack([cells.branch, np.full(count, self.load.index[BATTERY])], axis=1)
        added = Added(branch, np.stack([cells.added_ohm, np.zeros(count)], axis=1), cells.coil_works)
        answers = self.load.answers(added, 12.6 * circuit.scale * cells.source_share)
        held = self.load.hold(answers, circuit.demand_a[1] * cells.demand)
        # A battery has to serve an engine that asks for somewhat more than the typical one.
        hard = self.load.hold(answers, _HARD * circuit.demand_a[1] * cells.demand)
        changed = held.heard != HEARD.index(Heard.CRANKS_NORMALLY)
        readout = Readout(self.load.ask([*spans, posts]), held)
        values, hard_v = readout.values(held), readout.values(hard)[:, -1]
        lost = values - values[-1]
        order = {name: number for number, name in enumerate(self.repairs)}
        repair = np.full(count, order[NO_REPAIR])
        by_volts = np.zeros(count)
        for number, site in enumerate(self.sites):
            own = np.flatnonzero(cells.site == number)
            if site.part in circuit.parts:
                control = circuit.parts[site.part].part.side is Side.CONTROL
                least = (MATERIAL_CONTROL_V if control else MATERIAL_V) * circuit.scale
                by_volts[own] = lost[own, number]
                matters = changed[own] | (lost[own, number] >= 0.999 * least)
            elif site.fault == "discharged":
                by_volts[own], matters = 100.0, cells.source_share[own] < 12.2 / 12.6
            elif site.family == "battery-worn":
                by_volts[own], matters = 50.0, hard_v[own] < 9.6 * circuit.scale
            else:
                by_volts[own], matters = 25.0, changed[own]
            repair[own[matters]] = order[site.repair]
        return repair, by_volts


_CELL_FIELDS = (
    "added_ohm",
    "spread_ohm",
    "source_share",
    "source_spread",
    "demand",
    "coil_works",
    "is_open",
    "minor",
)


def site_span(circuit: Circuit, site: Site) -> tuple[str, str]:
    """The two points that show a site most directly, red first."""
    role = circuit.roles
    if site.part in circuit.parts:
        return circuit.parts[site.part].part.between
    if site.part == "battery":
        return role["battery.positive"], role["battery.negative"]
    if site.part == "coil":
        return circuit.map.solenoid.coil
    return role["starter.motor"], role["starter.case"]


def evidence_weight(site: Ints, sites: tuple[Site, ...], hearing: Floats, table: Mapping[str, float]) -> Floats:
    """How likely an answer is under each hypothesis (n,), from a table of likelihoods and what is heard (n, 5).

    A table speaks either of what is heard while start is held, or of parts and families of faults; `otherwise` serves
    the rest.
    """
    otherwise = table["otherwise"]
    if any(name in HEARD for name in table):
        return hearing @ np.array([table.get(name, otherwise) for name in HEARD])
    by_site = np.array([table.get(one.part, table.get(one.family, otherwise)) for one in sites] + [otherwise])
    first, second = by_site[site[:, 0]], by_site[site[:, 1]]
    # Of two faults the one that the answer speaks of decides.
    odds = np.where(np.abs(np.log(first / otherwise)) >= np.abs(np.log(second / otherwise)), first, second)
    return np.where((site < 0).all(axis=1), table.get("nothing", otherwise), odds)
