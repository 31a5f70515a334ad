"""The state of a job: a fold over its events."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date

from wizard.circuit.map import PartChange
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Complaint,
    CostStruck,
    Cranked,
    Described,
    Event,
    FailsNow,
    FollowUp,
    Jumped,
    JumpStruck,
    LabourPriced,
    MinutesLogged,
    Noted,
    OutOfReach,
    PartPriced,
    ReadingStruck,
    ReadingTaken,
    Renamed,
    Repaired,
    RepairStruck,
    Started,
    StartSeen,
    StartStruck,
    TakenBack,
)


@dataclass(frozen=True)
class Reading:
    """A reading as the record holds it. `number` counts readings from 1; `repairs_before` is how many came first.

    `at` is the number of its event.
    """

    number: int
    taken: ReadingTaken
    repairs_before: int
    struck: bool = False
    struck_why: str = ""
    remarks: tuple[str, ...] = ()
    at: int = field(default=0, compare=False)

    @property
    def note(self) -> str:
        """What was remarked on it, when it was taken and later."""
        return "; ".join(text for text in (self.taken.note, *self.remarks) if text)


@dataclass(frozen=True)
class Starts:
    """Starts that were seen together, counted from 1; `repairs_before` is how many repairs came first.

    `early` ones were entered after a repair as if since it, and their day is before that of the repair.
    """

    number: int
    seen: StartSeen
    repairs_before: int
    struck: bool = False
    early: bool = False


@dataclass(frozen=True)
class Cost:
    """An entry of labour or of parts as the record holds it; `number` counts both from 1."""

    number: int
    entry: MinutesLogged | PartPriced
    struck: bool = False


@dataclass(frozen=True)
class Deed:
    """The last event that stands, its number in the job from 1, and the state before it."""

    number: int
    event: Event
    before: JobState


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
    # The number of the event of each answer.
    answered_at: dict[str, int] = field(default_factory=dict[str, int], compare=False)
    # Steps answered in a job's file, which says what was answered and not when.
    answered_in_file: frozenset[str] = frozenset()
    readings: tuple[Reading, ...] = ()
    repairs: tuple[str, ...] = ()
    # What each of these repairs put in that differs from what was there.
    fits: tuple[dict[str, PartChange], ...] = ()
    # The day of each of them, where it is known.
    repaired_on: tuple[date | None, ...] = ()
    # What was answered when each of them was done.
    answered_before: tuple[frozenset[str], ...] = ()
    cautions_read: frozenset[str] = frozenset()
    jumped_to: str | None = None
    out_of_reach: frozenset[str] = frozenset()
    cranks: int = 0
    crank_seconds: float = 0.0
    notes: tuple[str, ...] = ()
    starts: tuple[Starts, ...] = ()
    # Whether the follow-up was closed or opened again since the last repair, None when neither.
    follow_up_open: bool | None = None
    costs: tuple[Cost, ...] = ()
    labour_per_hour: float | None = None
    # Whether the fault shows itself now while start is held, and by which event that was said since the last repair.
    fails_now: bool = False
    fails_told_at: int | None = field(default=None, compare=False)
    # How many events there were, and what is taken back next: None before the job was opened.
    events: int = field(default=0, compare=False)
    last: Deed | None = field(default=None, compare=False, repr=False)

    def after(self, event: Event) -> JobState:
        """The state once this event has happened. An event about something that is not there changes nothing."""
        number, then = self.events + 1, self._with(event)
        last = then.last if isinstance(event, TakenBack) else Deed(number, event, self)
        return replace(then, events=number, last=last)

    def _with(self, event: Event) -> JobState:
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
                    answered_at={**self.answered_at, event.step: self.events + 1},
                    answered_in_file=self.answered_in_file | ({event.step} if event.in_file else set()),
                    jumped_to=None,
                )
            case ReadingTaken():
                reading = Reading(len(self.readings) + 1, event, len(self.repairs), at=self.events + 1)
                earlier = self.readings if event.instead_of is None else self._struck(event.instead_of, "corrected")
                return replace(self, readings=(*earlier, reading), jumped_to=None)
            case ReadingStruck():
                return replace(self, readings=self._struck(event.reading, event.why))
            case Repaired():
                return replace(
                    self,
                    repairs=(*self.repairs, event.repair),
                    fits=(*self.fits, event.fitted),
                    repaired_on=(*self.repaired_on, event.day),
                    answered_before=(*self.answered_before, self.answered_now),
                    answered_now=frozenset(),
                    jumped_to=None,
                    follow_up_open=None,
                    fails_now=False,
                    fails_told_at=None,
                )
            case RepairStruck():
                return self._without_last_repair()
            case StartSeen():
                return replace(self, starts=(*self.starts, self.starts_as(event)))
            case StartStruck():
                starts = (replace(s, struck=s.struck or s.number == event.entry) for s in self.starts)
                return replace(self, starts=tuple(starts))
            case FollowUp():
                return replace(self, follow_up_open=event.open)
            case MinutesLogged() | PartPriced():
                return replace(self, costs=(*self.costs, Cost(len(self.costs) + 1, event)))
            case LabourPriced():
                return replace(self, labour_per_hour=event.per_hour)
            case CostStruck():
                costs = (replace(c, struck=c.struck or c.number == event.entry) for c in self.costs)
                return replace(self, costs=tuple(costs))
            case Jumped():
                return replace(self, jumped_to=event.step)
            case JumpStruck():
                return replace(self, jumped_to=None)
            case Cranked():
                return replace(self, cranks=self.cranks + 1, crank_seconds=self.crank_seconds + event.seconds)
            case TakenBack():
                return self._without(event.event)
            case FailsNow():
                return replace(self, fails_now=event.fails, fails_told_at=self.events + 1)
            case OutOfReach():
                reach = self.out_of_reach - {event.point} if event.reachable else self.out_of_reach | {event.point}
                return replace(self, out_of_reach=reach)
            case Noted(reading=None):
                return replace(self, notes=(*self.notes, event.text))
            case Noted():
                return replace(
                    self,
                    readings=tuple(
                        replace(reading, remarks=(*reading.remarks, event.text))
                        if reading.number == event.reading
                        else reading
                        for reading in self.readings
                    ),
                )

    def starts_as(self, seen: StartSeen) -> Starts:
        """These starts as they would be listed now: those of a day before a repair came before it."""
        told = max(0, len(self.repairs) - 1) if seen.before_repair else len(self.repairs)
        before = told
        while before and (on := self.repaired_on[before - 1]) is not None and seen.day is not None and seen.day < on:
            before -= 1
        return Starts(len(self.starts) + 1, seen, before, early=before < told)

    def _struck(self, number: int, why: str) -> tuple[Reading, ...]:
        return tuple(
            replace(reading, struck=True, struck_why=why)
            if reading.number == number and not reading.struck
            else reading
            for reading in self.readings
        )

    def _without(self, number: int) -> JobState:
        """The state before the last deed, with what has been put on a list since left there, struck out."""
        if self.last is None or self.last.number != number:
            return self
        before = self.last.before
        repairs = len(before.repairs)
        readings = (
            replace(r, struck=True, struck_why="taken back", repairs_before=min(r.repairs_before, repairs))
            for r in self.readings[len(before.readings) :]
        )
        starts = (
            replace(s, struck=True, repairs_before=min(s.repairs_before, repairs))
            for s in self.starts[len(before.starts) :]
        )
        costs = (replace(c, struck=True) for c in self.costs[len(before.costs) :])
        return replace(
            before,
            readings=(*before.readings, *readings),
            starts=(*before.starts, *starts),
            costs=(*before.costs, *costs),
        )

    def _without_last_repair(self) -> JobState:
        if not self.repairs:
            return self
        left = len(self.repairs) - 1
        return replace(
            self,
            repairs=self.repairs[:-1],
            fits=self.fits[:-1],
            repaired_on=self.repaired_on[:-1],
            answered_before=self.answered_before[:-1],
            answered_now=self.answered_now | self.answered_before[-1],
            readings=tuple(replace(r, repairs_before=min(r.repairs_before, left)) for r in self.readings),
            starts=tuple(replace(s, repairs_before=min(s.repairs_before, left)) for s in self.starts),
            jumped_to=None,
        )

    def standing_events(self) -> Iterator[tuple[int, Event]]:
        """The events that have not been taken back, the last one first, each with its number."""
        last = self.last
        while last is not None:
            yield last.number, last.event
            last = last.before.last

    @property
    def standing(self) -> tuple[Reading, ...]:
        """Readings that have not been struck out."""
        return tuple(reading for reading in self.readings if not reading.struck)

    @property
    def fitted(self) -> dict[str, PartChange]:
        """Cables and straps that repairs have replaced by others, the last of each."""
        return {name: change for fit in self.fits for name, change in fit.items()}

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
