"""A made-up vehicle with hidden faults and what its customer says, as its YAML file has it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import AliasChoices, BeforeValidator, Discriminator, Field, Tag

from wizard.circuit.map import Checked, CircuitMap, Path, PositiveAmps, PositiveVolts
from wizard.circuit.network import OPEN_OHM
from wizard.quantities import Id, LongText, Text, parse_quantity
from wizard.walk.events import OPEN, Complaint
from wizard.walk.flow import Flow
from wizard.walk.jobfile import complaint_misfits


def _read_excess(value: Any) -> Any:
    if isinstance(value, str):
        return OPEN_OHM * 1e3 if value.strip().lower() == OPEN else parse_quantity(value, "ohms", bare=1e-3) * 1e3
    return value


# Milliohms, or `open` for a break.
Excess = Annotated[float, BeforeValidator(_read_excess), Field(ge=0)]
Ratio = Annotated[float, Field(gt=0, le=100)]


class PartFault(Checked):
    """Resistance added to a part: `excess` while the fault acts up, `otherwise` while it does not.

    `moved_by` says what brings it on or sends it away on the bench: a hand on one of the part's ends, or a hot engine.
    """

    part: Id
    excess_mohm: Excess = Field(validation_alias=AliasChoices("excess_mohm", "excess"))
    otherwise_mohm: Excess = Field(0.0, validation_alias=AliasChoices("otherwise_mohm", "otherwise"))
    moved_by: Literal["touch", "heat"] | None = Field(None, validation_alias=AliasChoices("moved_by", "moved-by"))

    def excess_ohm(self, acting_up: bool) -> float:
        """Added resistance in ohm."""
        return (self.excess_mohm if acting_up else self.otherwise_mohm) * 1e-3


class BatteryFault(Checked):
    """A discharged or a worn battery: its volts at rest and its internal resistance over a sound one's."""

    battery: Literal["discharged", "worn"]
    source_v: PositiveVolts | None = None
    ohm_ratio: Ratio | None = None

    @property
    def family(self) -> str:
        return f"battery-{self.battery}"


class StarterFault(Checked):
    """A starter that is open (brushes worn through), worn, dragging in its bearings, or shorted inside."""

    starter: Literal["open", "worn", "dragging", "shorted"]

    @property
    def family(self) -> str:
        return f"starter-{self.starter}"


class EngineFault(Checked):
    """An engine, or something that it drives, that drags."""

    engine: Literal["dragging"]

    @property
    def family(self) -> str:
        return f"engine-{self.engine}"


class CoilFault(Checked):
    """A solenoid whose coil is broken: it never pulls in."""

    coil: Literal["open"]

    @property
    def family(self) -> str:
        return f"coil-{self.coil}"


# The key that each kind of hidden fault is told by.
_FAULTS = ("part", "battery", "starter", "engine", "coil")


def _fault_key(value: Any) -> str | None:
    keys = value if isinstance(value, dict) else getattr(type(value), "model_fields", {})
    return next((key for key in _FAULTS if key in keys), None)


HiddenFault = Annotated[
    Annotated[PartFault, Tag("part")]
    | Annotated[BatteryFault, Tag("battery")]
    | Annotated[StarterFault, Tag("starter")]
    | Annotated[EngineFault, Tag("engine")]
    | Annotated[CoilFault, Tag("coil")],
    Discriminator(
        _fault_key,
        custom_error_type="no_fault",
        custom_error_message=f"write what is faulty with one of the keys {', '.join(_FAULTS)}",
    ),
]


def repairs_for(fault: HiddenFault, circuit_map: CircuitMap) -> frozenset[str]:
    """Repairs that put a hidden fault right.

    Charging does not revive a worn battery; the coil is replaced with the solenoid or with the whole starter.
    """
    match fault:
        case PartFault():
            return frozenset([circuit_map.parts[fault.part].repair])
        case BatteryFault(battery="discharged"):
            return frozenset(["charge-battery", "replace-battery"])
        case BatteryFault():
            return frozenset(["replace-battery"])
        case StarterFault():
            return frozenset(["replace-starter"])
        case EngineFault():
            return frozenset(["free-the-engine"])
        case CoilFault():
            return frozenset(["replace-starter", circuit_map.parts[circuit_map.solenoid.contacts].repair])


class HiddenVehicle(Complaint):
    """A complaint, and behind it the vehicle as it really is.

    `acting_up` is the chance that the hidden faults of parts show in a crank. `seed` draws this vehicle's own
    tolerances; without one every sound part is exactly as its map has it. `answers` says what looking or
    trying finds where the hidden faults do not tell.
    """

    title: Text
    story: LongText
    flow: Id = "no-crank-clicks"
    hidden: Annotated[list[HiddenFault], Field(max_length=20)] = Field(default_factory=list[HiddenFault])
    source_v: PositiveVolts | None = None
    demand_a: PositiveAmps | None = None
    seed: Annotated[int, Field(ge=0, le=2**32 - 1)] | None = None
    acting_up: Annotated[float, Field(ge=0, le=1)] = 1.0
    answers: dict[Id, Id] = Field(default_factory=dict[Id, Id])

    def complaint(self) -> Complaint:
        """What the customer says, without what is hidden."""
        return Complaint.model_construct(**{name: getattr(self, name) for name in Complaint.model_fields})

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """The same thing hidden twice, and faults that could never show."""
        seen: set[str] = set()
        for number, fault in enumerate(self.hidden):
            at: Path = ("hidden", number)
            name = fault.part if isinstance(fault, PartFault) else fault.family.partition("-")[0]
            if name in seen:
                yield at, f"{name!r} has a hidden fault already; give it one"
            seen.add(name)
            if isinstance(fault, PartFault) and fault.otherwise_mohm > fault.excess_mohm:
                yield (*at, "otherwise"), "the fault must not be worse while it does not act up"

    def misfits(self, circuit_map: CircuitMap, flow: Flow) -> Iterator[tuple[Path, str]]:
        """Names that the circuit map or the flow does not have, and volts that no such battery has."""
        yield from complaint_misfits(self, circuit_map)
        for number, fault in enumerate(self.hidden):
            if isinstance(fault, PartFault) and fault.part not in circuit_map.parts:
                known = ", ".join(circuit_map.parts)
                yield ("hidden", number, "part"), f"the map has no part {fault.part!r}; it has {known}"
            if isinstance(fault, BatteryFault) and _too_high(fault.source_v, circuit_map):
                yield ("hidden", number, "source_v"), f"too many volts for a {circuit_map.system_v} V battery"
        if _too_high(self.source_v, circuit_map):
            yield ("source_v",), f"too many volts for a {circuit_map.system_v} V battery"
        for step, choice in self.answers.items():
            if step not in flow.steps:
                yield ("answers", step), f"the flow {flow.flow!r} has no step {step!r}"
            elif not flow.steps[step].allows(choice, circuit_map.parts):
                allowed = ", ".join(flow.steps[step].choices) or "none: it does not ask"
                yield ("answers", step), f"there is no choice {choice!r}; allowed: {allowed}"


class Scenario(HiddenVehicle):
    """A demo's vehicle, in a file of its own."""

    scenario: Id


def _too_high(volts: float | None, circuit_map: CircuitMap) -> bool:
    return volts is not None and volts > 1.25 * circuit_map.system_v
