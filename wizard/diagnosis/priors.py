"""How likely each fault is before anything was measured, and how much a reading can be trusted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from wizard.circuit.map import Checked, Kind, Path
from wizard.quantities import Id, Text, Volts

Weight = Annotated[float, Field(ge=0, le=1000)]
Share = Annotated[float, Field(ge=0, le=1)]
# Families of faults that are not a part's excess resistance.
FAMILIES = (
    "battery-discharged",
    "battery-worn",
    "starter-worn",
    "starter-open",
    "starter-shorted",
    "starter-dragging",
    "engine-dragging",
    "coil-open",
    "nothing",
)


class Meter(Checked):
    """The meter's accuracy: a share of the reading and volts, and the clamp's; one standard deviation each."""

    share: Share = 0.005
    volts: Volts = 0.005
    clamp_share: Share = 0.02
    clamp_amps: Annotated[float, Field(ge=0)] = 2.0


class Priors(Checked):
    """The priors file: weights that only count against each other, and shares between 0 and 1."""

    priors: Id
    kinds: dict[Kind, Weight]
    control_kinds: dict[Kind, Weight]
    families: dict[Id, Weight]
    replaced: Weight
    touched: Weight
    cured: Share
    gone: Share
    trace: Share
    helped_by: dict[Id, dict[Text, Weight]]
    comes_and_goes: dict[Text, Weight]
    open_share: Share
    two_faults: Share
    wrong_reading: Share
    crank_change: Share
    failing_change: Share
    minutes_per_cost: Weight
    meter: Meter = Meter()

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Weights that are not there."""
        for kind in Kind:
            if kind not in self.kinds:
                yield ("kinds",), f"there is no weight for {kind}"
            if kind not in self.control_kinds:
                yield ("control_kinds",), f"there is no weight for {kind}"
        for family in FAMILIES:
            if family not in self.families:
                yield ("families",), f"there is no weight for {family}"
        for family in self.families:
            if family not in FAMILIES:
                yield ("families", family), f"there is no family {family!r}; allowed: {', '.join(FAMILIES)}"
