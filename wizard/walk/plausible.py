"""Readings under suspicion as soon as they are read: the whole battery across a drop, or a drop across the battery."""

from __future__ import annotations

from wizard.circuit.circuit import Circuit
from wizard.circuit.network import Observable

# Shares of the system's volts: what a drop stays below in a sound circuit, and what only an open span shows. Common
# practice, no source.
_A_DROP, _WHOLE_BATTERY = 0.3, 0.75
# Volts by which two readings of one battery may differ at no load, in a 12 V system; from memory, no source.
_RISES_V = 0.1


def shows_battery(circuit: Circuit, what: Observable, sound_v: float, volts: float) -> bool:
    """Whether this many volts are next to the whole battery where a drop under load was read, of which a sound circuit
    would have `sound_v`: the span is open, or start was not held.
    """
    is_drop = what.state == "cranking" and not what.clamp and abs(sound_v) < _A_DROP * circuit.system_v
    return is_drop and volts > _WHOLE_BATTERY * circuit.system_v


def misses_battery(circuit: Circuit, what: Observable, volts: float) -> bool:
    """Whether this few volts are what a drop reads, where the battery's own were read."""
    return is_across_battery(circuit, what) and volts < _A_DROP * circuit.system_v


def rises_under_load(circuit: Circuit, what: Observable, resting_v: float | None, volts: float) -> bool:
    """Whether the battery's posts show more with start held than at rest: it is helped, or start was not held."""
    loaded = what.state == "cranking" and is_across_battery(circuit, what)
    return loaded and resting_v is not None and volts > resting_v + _RISES_V * circuit.scale


def is_across_battery(circuit: Circuit, what: Observable) -> bool:
    """Whether the battery's own volts are read."""
    return {what.red, what.black} == battery_posts(circuit)


def battery_posts(circuit: Circuit) -> set[str]:
    """The two points between which the battery's own volts are read."""
    return {circuit.roles["battery.positive"], circuit.roles["battery.negative"]}
