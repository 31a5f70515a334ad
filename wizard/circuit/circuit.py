"""A map made ready to compute with: this vehicle's own lengths and sizes, at this air temperature."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from wizard.circuit import battery, conductors
from wizard.circuit.map import COMMON_REPAIRS, Changes, CircuitMap, Kind, Part, PartChange, Repair, Side

# Healthy resistance of parts that have no length: mean and standard deviation in milliohms. Common practice, no
# source: a clean, tight joint loses about a hundredth of a volt at 170 A.
_HEALTHY_MOHM: dict[Kind, tuple[float, float]] = {
    Kind.JOINT: (0.06, 0.03),
    Kind.CONTACTS: (0.22, 0.07),
    Kind.FUSE: (0.35, 0.08),
    Kind.METAL: (0.25, 0.08),
}
# A braided strap's sizes and ends vary more than a cable's.
_STRAP_SPREAD = 0.08


@dataclass(frozen=True)
class PassivePart:
    """A part with its healthy resistance: mean and standard deviation, in ohm."""

    name: str
    part: Part
    ohm: float
    spread_ohm: float


@dataclass(frozen=True)
class Circuit:
    """One vehicle's starting circuit. Build it with `Circuit.of`."""

    map: CircuitMap
    changes: Changes
    air_c: float
    parts: dict[str, PassivePart]
    battery_ohm: float
    _paths: dict[tuple[str, str, bool], tuple[str, ...] | None] = field(
        default_factory=dict[tuple[str, str, bool], "tuple[str, ...] | None"], compare=False, repr=False
    )

    @classmethod
    def of(cls, circuit_map: CircuitMap, changes: Changes | None = None, air_c: float = 20.0) -> Circuit:
        """Apply the changes and the temperature. Raises KeyError for a changed part that the map does not have."""
        changes = changes or Changes()
        parts: dict[str, PassivePart] = {}
        for name in changes.parts:
            circuit_map.parts[name]
        for name, part in circuit_map.parts.items():
            part = _changed(part, changes.parts.get(name))
            mean, spread = _healthy(part, air_c)
            parts[name] = PassivePart(name, part, mean, spread)
        cca = changes.cca_a or circuit_map.battery.cca_a
        return cls(
            circuit_map,
            changes,
            air_c,
            parts,
            battery.internal_ohm(cca, air_c, circuit_map.system_v),
        )

    @property
    def system_v(self) -> float:
        return float(self.map.system_v)

    @property
    def scale(self) -> float:
        """This system's volts over a 12 V system's."""
        return self.system_v / 12.0

    @cached_property
    def points(self) -> tuple[str, ...]:
        return tuple(self.map.points)

    @cached_property
    def repairs(self) -> dict[str, Repair]:
        return {**self.map.repairs, **COMMON_REPAIRS}

    @cached_property
    def rotor_ohm(self) -> float:
        """Resistance of the starter with its shaft held: `system_v` over the locked-rotor current."""
        return self.system_v / self.map.starter.locked_rotor_a

    @cached_property
    def demand_a(self) -> tuple[float, float, float]:
        """Cranking current that a healthy engine asks for: low, typical, high.

        The map's figures are for a warm engine; thick oil adds 1 % for each kelvin below 10 C (common practice).
        """
        cold = 1.0 + 0.01 * max(0.0, 10.0 - self.air_c)
        low, typical, high = self.map.starter.cranking_a
        return low, typical * cold, high * cold

    def opens(self, name: str) -> bool:
        """Whether something can be opened for a look in minutes: a part, but not the contacts inside the solenoid."""
        return name in self.parts and name != self.map.solenoid.contacts

    @property
    def demand_log_spread(self) -> float:
        """Standard deviation of the logarithm of that current: low and high hold nine of ten healthy engines."""
        low, _, high = self.demand_a
        return float(np.log(high / low)) / (2 * 1.645)

    @cached_property
    def pull_in_ohm(self) -> float:
        return self.system_v / self.map.solenoid.pull_in_a

    @cached_property
    def pulling_ohm(self) -> float:
        """Of the winding that only pulls: what both draw less what the holding one goes on drawing."""
        only = self.map.solenoid.pull_in_a - self.map.solenoid.hold_in_a
        return self.system_v / only if only > 0.0 else np.inf

    @cached_property
    def hold_in_ohm(self) -> float:
        return self.system_v / self.map.solenoid.hold_in_a

    @cached_property
    def hold_in_v(self) -> float:
        """Coil volts below which the contacts fall open; half the pull-in volts unless the map says."""
        solenoid = self.map.solenoid
        return solenoid.hold_in_v if solenoid.hold_in_v is not None else 0.5 * solenoid.pull_in_v

    @cached_property
    def roles(self) -> dict[str, str]:
        """Names that flows use for points, whatever the map calls them."""
        return {
            "battery.positive": self.map.battery.positive,
            "battery.negative": self.map.battery.negative,
            "starter.feed": self.map.feed,
            "starter.motor": self.map.starter.positive,
            "starter.case": self.map.starter.negative,
            "starter.trigger": self.map.solenoid.coil[0],
        }

    @cached_property
    def runs(self) -> dict[str, tuple[str, str]]:
        """Runs that flows name, each by its first and last point in the direction of the current."""
        role = self.roles
        return {
            "positive": (role["battery.positive"], role["starter.feed"]),
            "contacts": (role["starter.feed"], role["starter.motor"]),
            "ground": (role["starter.case"], role["battery.negative"]),
            "control": (role["battery.positive"], role["starter.trigger"]),
        }

    def open_at_rest(self) -> frozenset[str]:
        """Parts that carry nothing until start is held: the main contacts and the switches of the control side."""
        switches = {
            name
            for name, passive in self.parts.items()
            if passive.part.side is Side.CONTROL and passive.part.kind is Kind.CONTACTS
        }
        return frozenset(switches | {self.map.solenoid.contacts})

    def path(self, start: str, end: str, *, control: bool = False) -> tuple[str, ...] | None:
        """Parts on the way of least resistance between two points, in order; None when there is no way.

        Neither the battery nor the starter is passed. The control side is used only when asked for or when an end
        lies on it.
        """
        key = (start, end, control)
        if key not in self._paths:
            self._paths[key] = self._least_resistance(start, end, control)
            if self._paths[key] is None and not control:
                self._paths[key] = self._least_resistance(start, end, True)
        return self._paths[key]

    def _least_resistance(self, start: str, end: str, control: bool) -> tuple[str, ...] | None:
        queue: list[tuple[float, str, tuple[str, ...]]] = [(0.0, start, ())]
        done: set[str] = set()
        while queue:
            ohm, point, path = heapq.heappop(queue)
            if point == end:
                return path
            if point in done:
                continue
            done.add(point)
            for name, other in self._neighbours[point]:
                if control or self.parts[name].part.side is not Side.CONTROL:
                    heapq.heappush(queue, (ohm + self.parts[name].ohm, other, (*path, name)))
        return None

    @cached_property
    def _neighbours(self) -> dict[str, list[tuple[str, str]]]:
        near: dict[str, list[tuple[str, str]]] = {point: [] for point in self.points}
        for name, passive in self.parts.items():
            first, second = passive.part.between
            near[first].append((name, second))
            near[second].append((name, first))
        return near

    @cached_property
    def main_loop(self) -> tuple[str, ...]:
        """Parts that carry the starter's current, in order from battery post to battery post."""
        order: list[str] = []
        for run in ("positive", "contacts", "ground"):
            order += self.path(*self.runs[run]) or ()
        return tuple(order)

    def one_way(self, start: str, end: str) -> bool:
        """Whether current can flow only one way between two points, whatever is at fault: so on every run that the
        starter's or the coil's whole current passes. Between branches in parallel it may turn.
        """
        path = self.path(start, end)
        if path is None:
            return True
        control = self.path(*self.runs["control"], control=True) or ()
        return set(path) <= set(self.main_loop) or set(path) <= set(control)

    def points_along(self, start: str, end: str) -> tuple[str, ...]:
        """Points of the least-resistance path between two points, both ends included."""
        points = [start]
        for name in self.path(start, end) or ():
            first, second = self.parts[name].part.between
            points.append(second if points[-1] == first else first)
        return tuple(points)


def _changed(part: Part, change: PartChange | None) -> Part:
    if change is None:
        return part
    update = {key: value for key, value in change if value is not None}
    if change.resistance_mohm is None and (change.length_m or change.size):
        update["resistance_mohm"] = None
    return part.model_copy(update=update)


def _healthy(part: Part, air_c: float) -> tuple[float, float]:
    if part.resistance_mohm is not None:
        spread = _HEALTHY_MOHM[part.kind][1] / _HEALTHY_MOHM[part.kind][0] if part.kind in _HEALTHY_MOHM else 0.05
        return part.resistance_mohm * 1e-3, min(spread, 0.3) * part.resistance_mohm * 1e-3
    if part.kind in (Kind.CABLE, Kind.STRAP) and part.length_m is not None and part.size is not None:
        mean, spread = conductors.healthy_ohm(part.length_m, part.size, part.conductor, air_c)
        if part.kind is Kind.STRAP:
            spread = float(np.hypot(spread, _STRAP_SPREAD * mean))
        return mean, spread
    mean, spread = _HEALTHY_MOHM[part.kind]
    if part.side is Side.CONTROL:
        # A key switch or a relay carries a tenth of the current and is built for it.
        mean, spread = 20.0 * mean, 20.0 * spread
    return mean * 1e-3, spread * 1e-3
