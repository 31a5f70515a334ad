"""How to do a repair: the order of work, tools, what to look at when it is open, and when it will not do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Checked, Kind, Part, Path, RepairKind
from wizard.diagnosis.faults import NO_REPAIR
from wizard.quantities import Id, LongText

Lines = Annotated[list[LongText], Field(max_length=40)]
# Nothing is taken off the battery for these.
_LEAVES_BATTERY_ON = frozenset([RepairKind.CHARGE, RepairKind.HAND_OVER])


class Work(Checked):
    """How one kind of repair is done; what a certain repair needs beside it has the same form."""

    order: Lines = []
    tools: Lines = []
    look: Lines = []
    not_enough: LongText = ""


class Inspection(Checked):
    """What to look at on one kind of part, and what to bear in mind."""

    look: Lines = []
    note: LongText = ""


class RepairTable(Checked):
    """The repairs file. `own` adds to what a repair's kind says, by the repair's id."""

    repairs: Id
    before: Lines
    after: Lines
    kinds: dict[RepairKind, Work]
    parts: dict[Kind, Inspection] = {}
    own: dict[Id, Work] = {}

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Kinds of repair that nothing is said about."""
        for kind in RepairKind:
            if kind not in self.kinds:
                yield ("kinds",), f"there is no row {str(kind)!r}"
            elif not self.kinds[kind].order:
                yield ("kinds", kind, "order"), "say at least one thing to do"


@dataclass(frozen=True)
class Advice:
    """What to do for one repair, in order. `minutes` and `cost` (any currency) are the map's usual ones.

    `replaces` names cables and straps whose size has to be chosen.
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


def advise(circuit: Circuit, table: RepairTable, repair: str) -> Advice:
    """Advice for a repair of this circuit; for `no-repair` there is nothing to do.

    Raises KeyError for a repair that the circuit does not have.
    """
    work = circuit.repairs[repair]
    if repair == NO_REPAIR:
        return Advice(repair, work.label, (), (), (), (), 0.0, 0.0, ())
    parts = {name: passive.part for name, passive in circuit.parts.items() if passive.part.repair == repair}
    kind, own = table.kinds[work.kind], table.own.get(repair, Work())
    inspections = [table.parts[part_kind] for part_kind in Kind if _has(part_kind, parts.values(), table)]
    order = [*kind.order[:1], *own.order, *kind.order[1:]]
    if work.kind not in _LEAVES_BATTERY_ON:
        order = [*table.before, *order, *table.after]
    sized = work.kind in (RepairKind.REPLACE, RepairKind.REROUTE)
    return Advice(
        repair,
        work.label,
        _once(order),
        _once([*kind.tools, *own.tools]),
        _once([*kind.look, *own.look, *(line for seen in inspections for line in seen.look)]),
        _once([kind.not_enough, own.not_enough, *(seen.note for seen in inspections), work.note]),
        work.minutes,
        work.cost,
        tuple(name for name, part in parts.items() if sized and part.kind in (Kind.CABLE, Kind.STRAP)),
    )


def _has(kind: Kind, parts: Iterable[Part], table: RepairTable) -> bool:
    return kind in table.parts and any(part.kind is kind for part in parts)


def _once(lines: list[str]) -> tuple[str, ...]:
    """The lines without empty ones and repeats."""
    return tuple(dict.fromkeys(line for line in lines if line))
