"""What was found out about a circuit: readings in their contexts, words and answers, repairs done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from wizard.circuit.heard import Heard
from wizard.circuit.network import Observable

# A reading more likely wrong than right is doubted: it shows nothing, and is asked for again.
DOUBTED = 0.5


class Context(NamedTuple):
    """How many repairs had been done, and whether the fault was away at that moment."""

    repairs: int
    away: bool = False


# Before any repair.
FIRST = Context(0)


@dataclass(frozen=True)
class Measurement:
    """One reading: volts or amps, or None for an open span.

    Readings with the same `crank` shared one crank. `away` says that the fault was not there at that moment.
    """

    number: int
    what: Observable
    value: float | None
    crank: int | None = None
    context: Context = FIRST


@dataclass(frozen=True)
class Evidence:
    """Everything that was found out about the circuit, from the complaint on.

    `tables` are rows of likelihoods, one for each answer that has them, about the circuit as it is now. `repairs` are
    those done, in order. `away_now` says that a fault that comes and goes is not there at this moment, as far as known.
    """

    measurements: tuple[Measurement, ...] = ()
    symptom: Heard | None = None
    intermittent: bool = False
    tables: tuple[Mapping[str, float], ...] = ()
    repairs: tuple[str, ...] = ()
    away_now: bool = False

    @property
    def turns_well(self) -> bool | None:
        """Whether it cranks as it should now, by what was heard; None where nobody listened."""
        heard = self._heard
        return heard <= {Heard.CRANKS_NORMALLY} if heard else None

    @property
    def turns(self) -> bool:
        """Whether it was heard to turn the engine now, well or slowly."""
        heard = self._heard
        return bool(heard) and heard <= {Heard.CRANKS_NORMALLY, Heard.CRANKS_SLOWLY}

    @property
    def _heard(self) -> set[str]:
        """What each answer of someone who listened speaks for most."""
        listened = (table for table in self.tables if any(heard in table for heard in Heard))
        return {max(table, key=lambda name, table=table: table[name]) for table in listened}

    @property
    def now(self) -> Context:
        """The circuit as it is at this moment."""
        return Context(len(self.repairs), self.away_now)
