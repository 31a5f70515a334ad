"""What practice allows: the one place that decides a limit and what is over it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from wizard.circuit import battery
from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Checked, Kind, Part, Path, PositiveMetres, Side
from wizard.quantities import Id, Text, Volts

Judgement = Literal["within", "marginal", "over", "not-judged"]
NotNegative = Annotated[Volts, Field(ge=0)]
# Suffix of the rows for each system's volts.
_SUFFIX = {6: "-6", 12: "", 24: "-24"}
_SIDE_OF_RUN = {
    "positive": "positive-side",
    "ground": "ground-side",
    "contacts": "contacts",
    "control": "control-side",
}


class Allowance(Checked):
    """Volts that one part may lose; a cable's row holds up to a length."""

    system_v: Literal[6, 12, 24]
    volts: NotNegative
    up_to: PositiveMetres | None = None
    source: Text


class SideLimit(Checked):
    """Volts that a whole side may lose. `default` marks the row in use where sources disagree."""

    system_v: Literal[6, 12, 24]
    volts: NotNegative
    source: Text
    default: bool = False


class Floor(Checked):
    """Least volts that must be there; down to `marginal` it is doubtful."""

    volts: NotNegative
    marginal: NotNegative
    source: Text


class Least(Checked):
    """The smallest drop that a judgement is made on."""

    volts: NotNegative
    source: Text


class MarginalBand(Checked):
    """How far over the limit is still called marginal."""

    volts: NotNegative
    share: Annotated[float, Field(ge=0, le=1)]
    source: Text


class Limits(Checked):
    """The limits file. All rows keep their source."""

    limits: Id
    parts: dict[Id, Allowance]
    sides: dict[Id, SideLimit]
    floors: dict[Id, Floor]
    least_judged: Least
    marginal_band: MarginalBand

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Rows that the computation needs and that are not there."""
        for system, suffix in _SUFFIX.items():
            for row in (
                "cable-short",
                "cable-long",
                "switch",
                "solenoid-switch",
                "connection",
                "fuse",
                "metal",
            ):
                if row + suffix not in self.parts:
                    yield ("parts",), f"there is no row {row + suffix!r}"
                elif self.parts[row + suffix].system_v != system:
                    yield ("parts", row + suffix, "system_v"), f"this row must be for {system} V"
                elif row.startswith("cable") and self.parts[row + suffix].up_to is None:
                    yield ("parts", row + suffix), "a cable's row needs up_to"
            if f"control-part{suffix}" not in self.parts:
                yield ("parts",), f"there is no row {f'control-part{suffix}'!r}"
            for row in _SIDE_OF_RUN.values():
                if row + suffix not in self.sides:
                    yield ("sides",), f"there is no row {row + suffix!r}"
                elif len(self._in_use(row, system)) != 1:
                    yield ("sides", row + suffix, "default"), f"mark one row of {row} at {system} V as the default"
        for row in ("battery-resting", "battery-cranking", "motor-feed"):
            if row not in self.floors:
                yield ("floors",), f"there is no row {row!r}"

    def allowance_v(self, circuit: Circuit, name: str) -> float:
        """Volts that one part may lose; a cable longer than the table's longest gets it in proportion."""
        part = circuit.parts[name].part
        row = self.parts[self._row(circuit, name, part)]
        if part.kind in (Kind.CABLE, Kind.STRAP) and part.side is not Side.CONTROL:
            suffix = _SUFFIX[circuit.map.system_v]
            short, long = self.parts["cable-short" + suffix], self.parts["cable-long" + suffix]
            length, reach = part.length_m, long.up_to
            if length is None or short.up_to is None or reach is None or length <= short.up_to:
                return short.volts
            return long.volts * max(1.0, length / reach)
        return row.volts

    @staticmethod
    def _row(circuit: Circuit, name: str, part: Part) -> str:
        suffix = _SUFFIX[circuit.map.system_v]
        if part.kind is Kind.JOINT:
            return "connection" + suffix
        if part.side is Side.CONTROL:
            return "control-part" + suffix
        if name == circuit.map.solenoid.contacts:
            return "solenoid-switch" + suffix
        return {
            Kind.CONTACTS: "switch",
            Kind.FUSE: "fuse",
            Kind.METAL: "metal",
            Kind.CABLE: "cable-short",
            Kind.STRAP: "cable-short",
        }[part.kind] + suffix

    def side_v(self, circuit: Circuit, run: str) -> float:
        """Volts that a whole run of the circuit may lose."""
        return next(iter(self._in_use(_SIDE_OF_RUN[run], circuit.map.system_v))).volts

    def _in_use(self, side: str, system_v: int) -> list[SideLimit]:
        """Rows of a side that are marked as the one in use."""
        rows = ((name, row) for name, row in self.sides.items() if row.system_v == system_v and row.default)
        return [row for name, row in rows if name.startswith(side)]

    def span_v(self, circuit: Circuit, red: str, black: str) -> float | None:
        """Volts that the run between two points may lose while cranking; None when it passes battery or motor.

        A whole side has its own row. Any other run has the sum of its parts' allowances on each side, and no more
        than the side's row; joints alone have the least that is judged.
        """
        for run, (start, end) in circuit.runs.items():
            if {red, black} == {start, end}:
                return self.side_v(circuit, run)
        path = circuit.path(red, black)
        if not path:
            return None
        sums: dict[str, float] = {}
        for name in path:
            run = self._run_of(circuit, name)
            sums[run] = sums.get(run, 0.0) + self.allowance_v(circuit, name)
        total = sum(min(volts, self.side_v(circuit, run)) for run, volts in sums.items())
        return max(total, self.least_judged.volts * circuit.scale)

    @staticmethod
    def _run_of(circuit: Circuit, name: str) -> str:
        return "contacts" if name == circuit.map.solenoid.contacts else str(circuit.parts[name].part.side)

    def floor(self, circuit: Circuit, row: str) -> tuple[float, float]:
        """The floor of a row and its marginal value; the cranking battery's moves with the air temperature."""
        floor = self.floors[row]
        moved = 0.0
        if row == "battery-cranking":
            moved = battery.load_test_floor_v(circuit.air_c) - battery.load_test_floor_v(21.1)
        return (floor.volts + moved) * circuit.scale, (floor.marginal + moved) * circuit.scale

    def floor_row(self, circuit: Circuit, state: str, red: str, black: str) -> str | None:
        """The floor that a pair of points is judged by: the battery's posts, or the motor while it cranks."""
        role = circuit.roles
        if {red, black} == {role["battery.positive"], role["battery.negative"]}:
            return f"battery-{state}"
        if {red, black} == {role["starter.motor"], role["starter.case"]} and state == "cranking":
            return "motor-feed"
        return None

    def judge(
        self, circuit: Circuit, state: str, red: str, black: str, volts: float | None
    ) -> tuple[float | None, Judgement]:
        """Limit of a span and how its volts stand to it; `volts` None is an open span.

        For the battery's posts and for the motor the limit is a floor, and `over` means past it.
        """
        row = self.floor_row(circuit, state, red, black)
        if row is not None:
            floor, marginal = self.floor(circuit, row)
            if volts is None:
                return floor, "not-judged"
            return (
                floor,
                "within" if volts >= floor - 1e-9 else "marginal" if volts >= marginal - 1e-9 else "over",
            )
        if state != "cranking":
            return None, "not-judged"
        limit = self.span_v(circuit, red, black)
        if limit is None:
            return None, "not-judged"
        if volts is None:
            return limit, "over"
        band = max(self.marginal_band.volts * circuit.scale, self.marginal_band.share * limit)
        if volts <= limit + 1e-9:
            return limit, "within"
        return limit, "marginal" if volts <= limit + band + 1e-9 else "over"
