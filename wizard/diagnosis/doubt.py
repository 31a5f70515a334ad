"""Why a reading is doubted: what the others say of the same span, and where the loop does not add up."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from wizard.diagnosis.bands import mixed_band
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import DOUBTED, Measurement
from wizard.quantities import show_amps, show_band, show_volts

# Around a loop the drops may differ from each other by this share of the largest, and by this much in a 12 V system.
_LOOP_SHARE, _LOOP_V = 0.12, 0.06
# Loops longer than this are not spelt out.
_LONGEST_LOOP = 6


def doubted(belief: Belief) -> list[Measurement]:
    """Readings since the last repair that are more likely wrong than right, in the order they were taken."""
    return [
        m
        for m in belief.evidence.measurements
        if m.context.repairs == belief.now.repairs and belief.doubt.get(m.number, 0.0) >= DOUBTED
    ]


def shown_value(m: Measurement) -> str:
    """A reading as it is spoken of: `0.86 V`, `165 A`, `open`."""
    if m.value is None:
        return "open"
    return show_amps(m.value) if m.what.clamp else show_volts(m.value)


def reason(belief: Belief, m: Measurement) -> str:
    """One sentence that says what a doubted reading does not fit."""
    others = [
        other for other in belief.evidence.measurements if other.number != m.number and other.context == m.context
    ]
    again = [other for other in others if other.what == m.what and other.value is not None]
    if again:
        said = " and ".join(f"{shown_value(other)} (reading {other.number})" for other in again[:3])
        return f"another crank read {said} on the same span"
    way = way_round(others, m)
    if way is not None and m.value is not None:
        volts, numbers = way
        gap = abs(abs(volts) - abs(m.value))
        if gap > max(_LOOP_V * belief.model.circuit.scale, _LOOP_SHARE * max(abs(volts), abs(m.value))):
            listed = ", ".join(str(n) for n in numbers)
            return (
                f"the loop does not add up by {show_volts(gap)}: by readings {listed} there are "
                f"{show_volts(abs(volts))} between these points, or one of those is wrong"
            )
    low, high = expected_by_others(belief, m)
    band = f"{show_amps(low)} to {show_amps(high)}" if m.what.clamp else show_band(low, high)
    if m.value is not None and low <= m.value <= high:
        # Hardly more than one way it could be right, and each of them is unlikely beside the others.
        return "few faults could make it read so beside the other readings"
    return f"by the other readings it should be {band}"


def expected_by_others(belief: Belief, m: Measurement) -> tuple[float, float]:
    """The 90 % band of a reading by everything but itself."""
    low, middle, high = mixed_band(*belief.without(m.number))
    return (max(low, 0.0), high) if middle >= 0 else (low, high)


def way_round(others: Sequence[Measurement], m: Measurement) -> tuple[float, tuple[int, ...]] | None:
    """Volts between a reading's points by other readings of the same state, and their numbers; None without a way."""
    edges: dict[str, list[tuple[str, float, int]]] = {}
    for other in others:
        if other.value is None or other.what.clamp or other.what.state != m.what.state:
            continue
        red, black = other.what.red, other.what.black
        edges.setdefault(red, []).append((black, other.value, other.number))
        edges.setdefault(black, []).append((red, -other.value, other.number))
    queue: deque[tuple[str, float, tuple[int, ...]]] = deque([(m.what.red, 0.0, ())])
    seen = {m.what.red}
    while queue:
        point, volts, numbers = queue.popleft()
        if point == m.what.black and numbers:
            return volts, numbers
        if len(numbers) >= _LONGEST_LOOP:
            continue
        for other, drop, number in edges.get(point, []):
            if other not in seen:
                seen.add(other)
                queue.append((other, volts + drop, (*numbers, number)))
    return None
