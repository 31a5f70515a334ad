"""Sound cables that are too small for their length: over the limit even when nothing is wrong with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wizard.circuit.circuit import Circuit
from wizard.walk.assessment import JudgedReading, SpanView

# A cable whose sound drop is this many times its allowance is too small.
_TOO_SMALL = 1.1


@dataclass(frozen=True)
class Undersized:
    """A cable or strap that a larger one would win volts back from: what a sound one of its size loses at this current,
    and what practice allows, in V. `alone` is false where each cable of a run keeps its own limit and the run does not:
    then this is the one that loses most.
    """

    part: str
    sound_v: float
    limit_v: float
    alone: bool


def undersized(circuit: Circuit, readings: Sequence[JudgedReading], spans: Sequence[SpanView]) -> list[Undersized]:
    """Cables that explain readings over their limit that are yet as sound parts of these sizes read."""
    over = [r for r in readings if r.meaning == "too-small" and r.judgement == "over" and r.counts]
    ways = [set(circuit.path(r.red or "", r.black or "") or ()) for r in over]
    cables = [
        Undersized(span.part, sum(span.expected_v) / 2, span.limit_v, alone=True)
        for span in spans
        if span.limit_v is not None and span.meaning != "fault" and any(span.part in way for way in ways)
        if circuit.parts[span.part].part.size is not None and circuit.parts[span.part].part.length_m is not None
    ]
    if alone := [cable for cable in cables if cable.sound_v > _TOO_SMALL * cable.limit_v]:
        return alone
    most = max(cables, key=lambda cable: cable.sound_v, default=None)
    return [] if most is None else [Undersized(most.part, most.sound_v, most.limit_v, alone=False)]
