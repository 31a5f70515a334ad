"""How to do a repair: the order of work, tools, what to look at when it is open, and when it will not do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Checked, Kind, Path, RepairKind, Side
from wizard.diagnosis.faults import NO_REPAIR
from wizard.quantities import Id, LongText

Lines = Annotated[list[LongText], Field(max_length=40)]
# What a part is to someone who works on it: its kind, or something more particular.
Sort = Literal[
    "cable",
    "strap",
    "joint",
    "post-clamp",
    "mounting",
    "contacts",
    "solenoid",
    "control-cable",
    "control-contacts",
    "fuse",
    "metal",
]
_SORTS: dict[Kind, Sort] = {
    Kind.CABLE: "cable",
    Kind.STRAP: "strap",
    Kind.JOINT: "joint",
    Kind.CONTACTS: "contacts",
    Kind.FUSE: "fuse",
    Kind.METAL: "metal",
}
# Nothing is taken off the battery for these.
_LEAVES_BATTERY_ON = frozenset([RepairKind.CHARGE, RepairKind.HAND_OVER])


class Work(Checked):
    """How a repair is done. What is left out is as the less particular row says.

    `check` is what can be tried only once the battery is on again.
    """

    order: Lines = []
    check: Lines = []
    tools: Lines = []
    look: Lines = []
    not_enough: LongText = ""


class Inspection(Checked):
    """What to look at on one sort of part, what to bear in mind, and how the kinds of repair are done on it."""

    look: Lines = []
    note: LongText = ""
    work: dict[RepairKind, Work] = {}


class RepairTable(Checked):
    """The repairs file: how each kind of repair is done, then by sort of part, then by the repair's own id.

    The most particular order, checks, tools and limits hold; what to look at is all of it together. `on_again` puts the
    battery back on, `after` ends every repair.
    """

    repairs: Id
    before: Lines
    on_again: Lines
    after: Lines
    kinds: dict[RepairKind, Work]
    parts: dict[Sort, Inspection] = {}
    own: dict[Id, Work] = {}

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Kinds of repair that nothing is said about."""
        for kind in RepairKind:
            if kind not in self.kinds:
                yield ("kinds",), f"there is no row {str(kind)!r}"
            elif not self.kinds[kind].order:
                yield ("kinds", kind, "order"), "say at least one thing to do"

    def inspections(self, circuit: Circuit, repair: str) -> list[Inspection]:
        """Those of the parts that a repair of this circuit is for, each once."""
        sorts = [sort_of(circuit, name) for name, passive in circuit.parts.items() if passive.part.repair == repair]
        return [self.parts[sort] for sort in dict.fromkeys(sorts) if sort in self.parts]


@dataclass(frozen=True)
class Advice:
    """What to do for one repair, in order. `minutes` and `cost` (any currency) are the map's usual ones.

    `replaces` names cables and straps whose size has to be chosen, `lays` parts beside which a new cable is laid.
    """

    repair: str
    label: str
    order: tuple[str, ...]
    tools: tuple[str, ...]
    look: tuple[str, ...]
    not_enough: tuple[str, ...]
    minutes: float
    cost: float
    replaces: tuple[str, ...]
    lays: tuple[str, ...]


def advise(circuit: Circuit, table: RepairTable, repair: str) -> Advice:
    """Advice for a repair of this circuit; for `no-repair` there is nothing to do.

    Raises KeyError for a repair that the circuit does not have.
    """
    work = circuit.repairs[repair]
    if repair == NO_REPAIR:
        return Advice(repair, work.label, (), (), (), (), 0.0, 0.0, (), ())
    inspections = table.inspections(circuit, repair)
    kind, own = table.kinds[work.kind], table.own.get(repair, Work())
    on_parts = [seen.work[work.kind] for seen in inspections if work.kind in seen.work]
    order = own.order or _joined(on.order for on in on_parts) or kind.order
    check = own.check or _joined(on.check for on in on_parts) or kind.check
    tools = own.tools or _joined(on.tools for on in on_parts) or kind.tools
    limits = [own.not_enough] if own.not_enough else [on.not_enough for on in on_parts if on.not_enough]
    looks = [kind.look, own.look, *(on.look for on in on_parts), *(seen.look for seen in inspections)]
    if work.kind in _LEAVES_BATTERY_ON:
        order = [*order, *check]
    else:
        order = [*table.before, *order, *table.on_again, *check, *table.after]
    sized, cables = work.kind in (RepairKind.REPLACE, RepairKind.REROUTE), (Kind.CABLE, Kind.STRAP)
    own_parts = {name: passive.part for name, passive in circuit.parts.items() if passive.part.repair == repair}
    return Advice(
        repair,
        work.label,
        _once(order),
        _once(tools),
        _once(_joined(looks)),
        _once([*(limits or [kind.not_enough]), *(seen.note for seen in inspections), work.note]),
        work.minutes,
        work.cost,
        tuple(name for name, part in own_parts.items() if sized and part.kind in cables),
        tuple(n for n, part in own_parts.items() if work.kind is RepairKind.REROUTE and part.kind not in cables),
    )


def sort_of(circuit: Circuit, name: str) -> Sort:
    """What a part of this circuit is to someone who works on it."""
    part, role = circuit.parts[name].part, circuit.roles
    ends = set(part.between)
    if name == circuit.map.solenoid.contacts:
        return "solenoid"
    if part.kind is Kind.JOINT and ends & {role["battery.positive"], role["battery.negative"]}:
        return "post-clamp"
    if part.kind is Kind.JOINT and role["starter.case"] in ends:
        return "mounting"
    if part.side is Side.CONTROL and part.kind is Kind.CABLE:
        return "control-cable"
    if part.side is Side.CONTROL and part.kind is Kind.CONTACTS:
        return "control-contacts"
    return _SORTS[part.kind]


def _joined(lists: Iterable[list[str]]) -> list[str]:
    return [line for lines in lists for line in lines]


def _once(lines: list[str]) -> tuple[str, ...]:
    """The lines without empty ones and repeats."""
    return tuple(dict.fromkeys(line for line in lines if line))
