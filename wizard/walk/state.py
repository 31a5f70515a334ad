"""The state of a job: a fold over its events."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from wizard.walk.events import (
    Answered,
    CautionsRead,
    Complaint,
    Cranked,
    Described,
    Event,
    Jumped,
    Noted,
    OutOfReach,
    ReadingStruck,
    ReadingTaken,
    Renamed,
    Repaired,
    Started,
)


@dataclass(frozen=True)
class Reading:
    """A reading as the record holds it. `number` counts readings from 1; `repairs_before` is how many came first."""

    number: int
    taken: ReadingTaken
    repairs_before: int
    struck: bool = False
    struck_why: str = ""


@dataclass(frozen=True)
class JobState:
    """Everything that the events of a job add up to."""

    title: str = ""
    flow: str = "no-crank-clicks"
    scenario: str | None = None
    complaint: Complaint | None = None
    answers: dict[str, str] = field(default_factory=dict[str, str])
    # Steps answered since the last repair: what was seen and heard before it says nothing of the circuit now.
    answered_now: frozenset[str] = frozenset()
    readings: tuple[Reading, ...] = ()
    repairs: tuple[str, ...] = ()
    cautions_read: frozenset[str] = frozenset()
    jumped_to: str | None = None
    out_of_reach: frozenset[str] = frozenset()
    cranks: int = 0
    crank_seconds: float = 0.0
    notes: tuple[str, ...] = ()

    def after(self, event: Event) -> JobState:
        """The state once this event has happened. An event about something that is not there changes nothing."""
        match event:
            case Started():
                return replace(
                    self,
                    title=event.title,
                    complaint=event.complaint,
                    flow=event.flow,
                    scenario=event.scenario,
                )
            case Described():
                return replace(self, complaint=event.complaint)
            case Renamed():
                return replace(self, title=event.title)
            case CautionsRead():
                return replace(self, cautions_read=self.cautions_read | set(event.cautions))
            case Answered():
                return replace(
                    self,
                    answers={**self.answers, event.step: event.choice},
                    answered_now=self.answered_now | {event.step},
                    jumped_to=None,
                )
            case ReadingTaken():
                reading = Reading(len(self.readings) + 1, event, len(self.repairs))
                return replace(self, readings=(*self.readings, reading), jumped_to=None)
            case ReadingStruck():
                return replace(
                    self,
                    readings=tuple(
                        replace(reading, struck=True, struck_why=event.why)
                        if reading.number == event.reading and not reading.struck
                        else reading
                        for reading in self.readings
                    ),
                )
            case Repaired():
                return replace(self, repairs=(*self.repairs, event.repair), answered_now=frozenset(), jumped_to=None)
            case Jumped():
                return replace(self, jumped_to=event.step)
            case Cranked():
                return replace(self, cranks=self.cranks + 1, crank_seconds=self.crank_seconds + event.seconds)
            case OutOfReach():
                reach = self.out_of_reach - {event.point} if event.reachable else self.out_of_reach | {event.point}
                return replace(self, out_of_reach=reach)
            case Noted():
                return replace(self, notes=(*self.notes, event.text))

    @property
    def standing(self) -> tuple[Reading, ...]:
        """Readings that have not been struck out."""
        return tuple(reading for reading in self.readings if not reading.struck)

    @property
    def current(self) -> tuple[Reading, ...]:
        """Standing readings taken since the last repair: those of the circuit as it is now."""
        return tuple(reading for reading in self.standing if reading.repairs_before == len(self.repairs))


def fold(events: Iterable[Event], start: JobState | None = None) -> JobState:
    """The state after all these events, in order."""
    state = start or JobState()
    for event in events:
        state = state.after(event)
    return state
