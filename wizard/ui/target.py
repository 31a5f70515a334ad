"""What the meter is to be put on now: the walker's span, or one that the user chose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wizard.circuit.map import CircuitMap
from wizard.circuit.network import Observable
from wizard.ui.reading_text import Typed
from wizard.walk.assessment import Band, Next
from wizard.walk.drawing import Leads
from wizard.walk.events import ReadingTaken


@dataclass(frozen=True)
class Target:
    """One reading to take: volts from red to black, or amps through the part that the clamp is around."""

    state: Literal["resting", "cranking"]
    red: str | None = None
    black: str | None = None
    clamp: str | None = None
    limit_v: float | None = None
    expected_v: Band | None = None
    chosen: bool = False

    @classmethod
    def of(cls, step: Next) -> Target | None:
        """The target of a step that measures; None for any other."""
        if step.state not in ("resting", "cranking") or not (step.clamp or (step.red and step.black)):
            return None
        return cls(step.state, step.red, step.black, step.clamp, step.limit_v, step.expected_v)

    @property
    def leads(self) -> Leads:
        return Leads(self.red, self.black, self.clamp)

    @property
    def observable(self) -> Observable:
        return Observable(self.state, self.red or "", self.black or "", self.clamp or "")

    def reading(
        self,
        typed: Typed,
        *,
        crank: int | None = None,
        acting_up: bool | None = None,
        note: str = "",
        instead_of: int | None = None,
    ) -> ReadingTaken:
        """The event that this makes."""
        return ReadingTaken(
            state=self.state,
            red=self.red,
            black=self.black,
            clamp=self.clamp,
            value=typed.value,
            minimum=typed.minimum,
            maximum=typed.maximum,
            crank=crank,
            acting_up=acting_up,
            note=note,
            instead_of=instead_of,
        )

    def deeds(self, circuit_map: CircuitMap) -> list[str]:
        """What taking this reading is, in the words that cautions are tied to."""
        points = [self.red, self.black] if self.clamp is None else list(circuit_map.parts[self.clamp].between)
        return [self.state, *(str(circuit_map.points[point].place) for point in points if point is not None)]
