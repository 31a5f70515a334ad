"""A circuit map: the points, parts and repairs of one kind of vehicle, as its YAML file says them."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AfterValidator, AliasChoices, BaseModel, ConfigDict, Field

from wizard.circuit.conductors import Conductor
from wizard.quantities import Amps, CableSize, Id, LongText, Metres, Milliohms, Minutes, Text, Volts

Path = tuple[str | int, ...]


class Checked(BaseModel):
    """A frozen record that refuses keys it does not know and can name what does not fit together in it."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Each thing that is wrong between fields: where (keys and indexes) and what to do."""
        yield from ()


class Kind(StrEnum):
    """What a part is; `contacts` is a switch, relay or solenoid, `metal` a casting or a body panel."""

    CABLE = "cable"
    STRAP = "strap"
    JOINT = "joint"
    CONTACTS = "contacts"
    FUSE = "fuse"
    METAL = "metal"


class Side(StrEnum):
    """The side of the circuit that a part is on."""

    POSITIVE = "positive"
    GROUND = "ground"
    CONTROL = "control"


class Place(StrEnum):
    """Where a point is, which decides the cautions and part of the time it takes."""

    BATTERY = "battery"
    ENGINE_BAY = "engine-bay"
    UNDER = "under"
    CABIN = "cabin"
    BODY = "body"


def _between(low: float, high: float, unit: str) -> AfterValidator:
    """Above zero, and no further from what is met in a vehicle than the computation can follow."""

    def check(value: float) -> float:
        if not value > 0:
            raise ValueError("must be above zero")
        if not low <= value <= high:
            raise ValueError(f"{value:g} {unit} is not possible here; {low:g} to {high:g} {unit} are read")
        return value

    return AfterValidator(check)


PositiveVolts = Annotated[Volts, _between(0.01, 100.0, "V")]
PositiveAmps = Annotated[Amps, _between(0.01, 20_000.0, "A")]
PositiveMetres = Annotated[Metres, _between(0.001, 500.0, "m")]
PositiveMilliohms = Annotated[Milliohms, _between(1e-4, 1e6, "mohm")]
PositiveMinutes = Annotated[Minutes, _between(0.01, 10_000.0, "min")]


class Battery(Checked):
    """The battery's posts and its cold cranking amps (SAE J537: held 30 s at -18 C above 7.2 V)."""

    positive: Id
    negative: Id
    cca_a: Annotated[PositiveAmps, Field(validation_alias=AliasChoices("cca_a", "cca"))]


class Starter(Checked):
    """The starting motor between its own stud and its case."""

    positive: Id
    negative: Id
    cranking_a: Annotated[tuple[PositiveAmps, PositiveAmps, PositiveAmps], Field(description="low, typical, high")]
    locked_rotor_a: PositiveAmps

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        low, typical, high = self.cranking_a
        if not low < typical < high:
            yield ("cranking_a",), "give low, typical and high in rising order"
        if self.locked_rotor_a <= high:
            yield ("locked_rotor_a",), f"must be more than the highest cranking current, {high:g} A"


class Solenoid(Checked):
    """The part that is the starter's main contacts, and the coil that closes them."""

    contacts: Id
    coil: tuple[Id, Id]
    pull_in_a: PositiveAmps
    hold_in_a: PositiveAmps
    pull_in_v: PositiveVolts
    hold_in_v: PositiveVolts | None = None


class Point(Checked):
    """A place where a lead can be put, how exactly, and the minutes it takes to reach."""

    label: Text
    probe: Text
    minutes: PositiveMinutes = 1.0
    place: Place = Place.ENGINE_BAY


# What a cable ends in: a clamp for a battery post, or a ring for a metric stud.
End = Literal["clamp", "M5", "M6", "M8", "M10", "M12"]


class Part(Checked):
    """What current flows through between two points. `ends` says what a cable has at each of the two."""

    label: Text
    kind: Kind
    side: Side
    between: tuple[Id, Id]
    repair: Id
    length_m: PositiveMetres | None = Field(default=None, validation_alias=AliasChoices("length_m", "length"))
    size: CableSize | None = None
    conductor: Conductor = Conductor.COPPER
    resistance_mohm: PositiveMilliohms | None = Field(
        default=None, validation_alias=AliasChoices("resistance_mohm", "resistance")
    )
    fault_weight: Annotated[float, Field(ge=0, le=1000)] | None = None
    ends: tuple[End, End] | None = None

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        if self.between[0] == self.between[1]:
            yield ("between",), "a part needs two different points"
        if self.kind in (Kind.CABLE, Kind.STRAP):
            if self.resistance_mohm is None and (self.length_m is None or self.size is None):
                yield (), f"a {self.kind} needs length_m and size, or resistance_mohm"
        elif self.length_m is not None or self.size is not None or self.ends is not None:
            yield (), f"length, size and ends belong to a cable or a strap, not to {self.kind}"


class PartChange(Checked):
    """What differs from the map in this vehicle."""

    length_m: PositiveMetres | None = Field(default=None, validation_alias=AliasChoices("length_m", "length"))
    size: CableSize | None = None
    conductor: Conductor | None = None
    resistance_mohm: PositiveMilliohms | None = Field(
        default=None, validation_alias=AliasChoices("resistance_mohm", "resistance")
    )


class Changes(Checked):
    """This vehicle against its map: parts by id, and the battery's cold cranking amps."""

    parts: dict[Id, PartChange] = {}
    cca_a: PositiveAmps | None = Field(default=None, validation_alias=AliasChoices("cca_a", "cca"))


class RepairKind(StrEnum):
    """The kind of work that a repair is."""

    CLEAN = "clean"
    TIGHTEN = "tighten"
    RE_TERMINATE = "re-terminate"
    REPLACE = "replace"
    REROUTE = "reroute"
    CHARGE = "charge"
    HAND_OVER = "hand-over"


class Repair(Checked):
    """One thing that can be repaired, with the minutes and the cost (in any currency) that it usually takes."""

    label: Text
    kind: RepairKind
    minutes: PositiveMinutes
    cost: Annotated[float, Field(ge=0)] = 0.0
    note: LongText = ""

    @property
    def fits_a_part(self) -> bool:
        """Whether it puts in something that has to be bought."""
        return self.kind in (RepairKind.REPLACE, RepairKind.REROUTE)


# Repairs that every map has: the battery, the starter, the engine, and nothing at all.
COMMON_REPAIRS: dict[str, Repair] = {
    "charge-battery": Repair(
        label="charge the battery, then test it again", kind=RepairKind.CHARGE, minutes=60, cost=0
    ),
    "replace-battery": Repair(label="replace the battery", kind=RepairKind.REPLACE, minutes=20, cost=120),
    "replace-starter": Repair(label="replace the starter", kind=RepairKind.REPLACE, minutes=90, cost=220),
    "free-the-engine": Repair(
        label="find what drags in the engine or its drives", kind=RepairKind.HAND_OVER, minutes=180, cost=0
    ),
    "no-repair": Repair(label="no repair: nothing wrong was shown", kind=RepairKind.HAND_OVER, minutes=1, cost=0),
}
# Names that findings use beside the map's own parts.
RESERVED_PARTS = frozenset(["battery", "starter", "motor", "engine", "coil", "back-emf"])


class CircuitMap(Checked):
    """A whole map. `system_v` is the nominal volts: 6, 12 or 24."""

    circuit: Id
    title: Text
    system_v: Literal[6, 12, 24]
    battery: Battery
    starter: Starter
    solenoid: Solenoid
    points: Annotated[dict[Id, Point], Field(min_length=4, max_length=400)]
    parts: Annotated[dict[Id, Part], Field(min_length=3, max_length=400)]
    repairs: Annotated[dict[Id, Repair], Field(max_length=400)]

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Points, repairs and parts that are not there; sides without a path; nested records."""
        yield from (((*("starter",), *path), text) for path, text in self.starter.inconsistencies())
        named: list[tuple[Path, str]] = [
            (("battery", "positive"), self.battery.positive),
            (("battery", "negative"), self.battery.negative),
            (("starter", "positive"), self.starter.positive),
            (("starter", "negative"), self.starter.negative),
            (("solenoid", "coil", 0), self.solenoid.coil[0]),
            (("solenoid", "coil", 1), self.solenoid.coil[1]),
        ]
        for name, part in self.parts.items():
            named += [(("parts", name, "between", end), point) for end, point in enumerate(part.between)]
            yield from ((("parts", name, *path), text) for path, text in part.inconsistencies())
            if name in RESERVED_PARTS:
                yield ("parts", name), f"{name!r} is a name that findings use; choose another"
            if part.repair not in self.repairs and part.repair not in COMMON_REPAIRS:
                yield ("parts", name, "repair"), f"there is no repair {part.repair!r} under repairs"
        missing = [(path, point) for path, point in named if point not in self.points]
        for path, point in missing:
            yield path, f"there is no point {point!r} under points"
        for name in self.repairs:
            if name in COMMON_REPAIRS:
                yield ("repairs", name), f"{name!r} is a repair that every map has; choose another name"
        contacts = self.parts.get(self.solenoid.contacts)
        if contacts is None:
            yield ("solenoid", "contacts"), f"there is no part {self.solenoid.contacts!r} under parts"
        elif self.starter.positive not in contacts.between:
            yield ("solenoid", "contacts"), f"one end of this part must be {self.starter.positive!r}"
        elif contacts.kind is not Kind.CONTACTS:
            yield ("solenoid", "contacts"), "this part must be of kind contacts"
        elif not missing:
            yield from self._broken_paths()

    def _broken_paths(self) -> Iterator[tuple[Path, str]]:
        for field, side, start, end in (
            (("battery", "positive"), Side.POSITIVE, self.battery.positive, self.feed),
            (("battery", "negative"), Side.GROUND, self.starter.negative, self.battery.negative),
            (("solenoid", "coil", 0), Side.CONTROL, None, self.solenoid.coil[0]),
        ):
            reached = self._reached(start, side)
            if end not in reached:
                origin = start or "the positive side"
                yield field, f"no path of {side} parts leads from {origin!r} to {end!r}"
        used = {point for part in self.parts.values() for point in part.between}
        for name in self.points:
            if name not in used:
                yield ("points", name), "no part touches this point; remove it or connect it"
        everywhere = self._spread({self.battery.positive}, list(self.parts.values())) | self._spread(
            {self.starter.negative}, list(self.parts.values())
        )
        for name in used - everywhere:
            yield ("points", name), "nothing connects this point to the battery"

    def _reached(self, start: str | None, side: Side) -> set[str]:
        others = {self.solenoid.contacts}
        parts = [part for name, part in self.parts.items() if part.side is side and name not in others]
        if start is not None:
            return self._spread({start}, parts)
        positive = [p for n, p in self.parts.items() if p.side is Side.POSITIVE and n not in others]
        return self._spread(self._spread({self.battery.positive}, positive), parts)

    @staticmethod
    def _spread(seen: set[str], parts: list[Part]) -> set[str]:
        seen = set(seen)
        grew = True
        while grew:
            grew = False
            for part in parts:
                first, second = part.between
                if (first in seen) != (second in seen):
                    seen |= {first, second}
                    grew = True
        return seen

    @property
    def feed(self) -> str:
        """The starter's battery stud: the end of the main contacts that the positive cable is on."""
        first, second = self.parts[self.solenoid.contacts].between
        return first if second == self.starter.positive else second
