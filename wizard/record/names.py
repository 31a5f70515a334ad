"""What parts, points and spans of a circuit are called in print."""

from __future__ import annotations

from dataclasses import dataclass

from wizard.circuit.circuit import Circuit
from wizard.quantities import printable


@dataclass(frozen=True)
class Names:
    """Labels of one circuit, safe to print; what the map does not know is called by its id."""

    circuit: Circuit

    def part(self, name: str) -> str:
        known = self.circuit.map.parts.get(name)
        return printable(known.label if known else name.replace("-", " "))

    def point(self, name: str) -> str:
        known = self.circuit.map.points.get(name)
        return printable(known.label if known else name)

    def repair(self, name: str) -> str:
        known = self.circuit.repairs.get(name)
        return printable(known.label if known else name.replace("-", " "))

    def span(self, red: str | None, black: str | None, clamp: str | None) -> str:
        """Where a reading is taken, red lead first."""
        if clamp:
            return f"clamp around {self.part(clamp)}"
        return f"{self.point(red or '')} to {self.point(black or '')}"
