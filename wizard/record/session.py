"""One job being worked on: each event goes to disk first, then into the state that screens show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from wizard.diagnosis.priors import Meter
from wizard.errors import DropwalkError
from wizard.files import shelf
from wizard.record.fit import event_misfits, state_misfits
from wizard.record.store import Store, Stored
from wizard.walk.assessment import Assessment
from wizard.walk.case import Case
from wizard.walk.desk import Desk
from wizard.walk.events import (
    Complaint,
    CostStruck,
    Described,
    Event,
    Noted,
    ReadingStruck,
    ReadingTaken,
    RepairStruck,
    Started,
    StartStruck,
    TakenBack,
)
from wizard.walk.state import JobState, fold
from wizard.walk.walker import Plan, assessment_of

Clock = Callable[[], datetime]


class Session:
    """A job from the store with its state; `now` tells the time with its zone.

    Build it with `create` or `open`.
    """

    def __init__(self, store: Store, job_id: int, now: Clock) -> None:
        self.store = store
        self.job_id = job_id
        self.log: list[Stored] = []
        self.state = JobState()
        self._now = now
        self._meter: Meter | None = None
        self._desk: tuple[Complaint, str, Desk] | None = None
        self._case: Case | None = None
        self._assessed: dict[str, tuple[JobState, Assessment]] = {}
        self._catch_up()

    @classmethod
    def create(
        cls,
        store: Store,
        title: str,
        complaint: Complaint,
        *,
        flow: str = "no-crank-clicks",
        scenario: str | None = None,
        base: Path | None = None,
        now: Clock,
    ) -> Session:
        """Open a new job. A map's path counts from `base` and is kept in full, so that the job can move.

        Raises DropwalkError, BadFile when the complaint does not fit its map.
        """
        complaint = shelf.rooted(complaint, base or Path.cwd())
        started = Started(title=title, complaint=complaint, flow=flow, scenario=scenario)
        _desk_that_fits(JobState().after(started))
        return cls(store, store.create(started, _utc(now)), now)

    @classmethod
    def open(cls, store: Store, job_id: int, now: Clock) -> Session:
        """Take up a job where it was left. Raises DropwalkError when it is not there or can't be read."""
        return cls(store, job_id, now)

    @property
    def seq(self) -> int:
        """The number of the last event; it changes whenever the state does."""
        return self.log[-1].seq if self.log else 0

    @property
    def desk(self) -> Desk:
        """What this job is judged with, its circuit as repairs have left it; made anew when the complaint changes.

        Raises DropwalkError, BadFile.
        """
        return self._desk_for(self.state).with_fitted(self.state.fitted)

    def use_meter(self, meter: Meter | None) -> None:
        """Judge with the accuracy of the user's own meter; None for the usual one."""
        self._meter = meter
        self._desk = self._case = None
        self._assessed.clear()

    def _desk_for(self, state: JobState) -> Desk:
        complaint = state.complaint
        if complaint is None:
            raise DropwalkError(f"job {self.job_id} has no complaint; it was not recorded by this program")
        kept = self._desk
        if kept is None or kept[:2] != (complaint, state.flow):
            desk = _desk_that_fits(state)
            if self._meter is not None:
                desk = replace(desk, priors=desk.priors.model_copy(update={"meter": self._meter}))
            kept = self._desk = complaint, state.flow, desk
        return kept[2]

    def record(self, *events: Event) -> int:
        """Put what happened on disk, then into the state; the number of the last of these events.

        Raises DropwalkError, and records nothing, when an event names what map, flow or job do not have.
        """
        self._catch_up()
        checked: list[Event] = []
        state = self.state
        for event in events:
            if isinstance(event, Described):
                event = Described(complaint=shelf.rooted(event.complaint, Path.cwd()))
            state = self._after(event, state)
            checked.append(event)
        last = self.store.append(self.job_id, _utc(self._now), *checked)
        self._catch_up()
        return last

    def last_deed(self) -> Event | None:
        """What would be taken back now; None when nothing but the job's opening stands."""
        self._catch_up()
        last = self.state.last
        return None if last is None or isinstance(last.event, Started) else last.event

    def take_back(self) -> Event | None:
        """Take back the last event that stands, whatever it was; what it was, or None.

        Nothing is erased: the taking back is an event of its own. Raises DropwalkError when readings were taken since
        on another circuit.
        """
        event = self.last_deed()
        if event is not None and self.state.last is not None:
            self.record(TakenBack(event=self.state.last.number))
        return event

    def assess(self, plan: Plan) -> Assessment:
        """What to make of the job now; worked out once for each state and plan.

        A thread may call it while another records: the answer is then that of the state it began with.
        """
        state = self.state
        known = self._assessed.get(plan)
        if known is None or known[0] is not state:
            known = self._assessed[plan] = state, assessment_of(self._case_of(state), plan)
        return known[1]

    def case(self) -> Case:
        """The job as it stands now with what its readings mean; worked out once for each state."""
        return self._case_of(self.state)

    def _case_of(self, state: JobState) -> Case:
        case = self._case
        if case is None or case.state is not state:
            case = self._case = Case.of(self._desk_for(state), state)
        return case

    def _catch_up(self) -> None:
        """Fold what is on disk and not yet in the state; another process may have added to the job."""
        new = self.store.events(self.job_id, after=self.seq)
        self.log += new
        self.state = fold((stored.event for stored in new), self.state)

    def _after(self, event: Event, state: JobState) -> JobState:
        """The state once this has happened. Raises DropwalkError when it can't."""
        after = state.after(event)
        match event:
            case Started():
                raise DropwalkError("the job has been started already")
            case TakenBack():
                if state.last is None or isinstance(state.last.event, Started) or event.event != state.last.number:
                    raise DropwalkError(f"event {event.event} is not the last one that stands")
                if after.complaint != state.complaint:
                    _desk_that_fits(after)
            case Described():
                _desk_that_fits(after)
            case ReadingTaken(instead_of=int()) if event.instead_of not in {r.number for r in state.standing}:
                raise DropwalkError(f"there is no reading {event.instead_of} that stands")
            case ReadingStruck():
                if event.reading not in {reading.number for reading in state.standing}:
                    raise DropwalkError(f"there is no reading {event.reading} that stands")
            case Noted(reading=int()):
                if event.reading not in {reading.number for reading in state.readings}:
                    raise DropwalkError(f"there is no reading {event.reading}")
            case RepairStruck():
                if not state.repairs:
                    raise DropwalkError("there is no repair to take back")
                if state.current:
                    raise DropwalkError("take back what was read after the repair first")
            case StartStruck():
                if event.entry not in {starts.number for starts in state.starts if not starts.struck}:
                    raise DropwalkError(f"there is no entry {event.entry} of starts that stands")
            case CostStruck():
                if event.entry not in {cost.number for cost in state.costs if not cost.struck}:
                    raise DropwalkError(f"there is no entry {event.entry} of labour or parts that stands")
            case _:
                if faults := [message for _, message in event_misfits(event, self._desk_for(state))]:
                    raise DropwalkError("\n".join(faults))
        return after


def _utc(now: Clock) -> datetime:
    return now().astimezone(UTC)


def _desk_that_fits(state: JobState) -> Desk:
    """The desk for this state's complaint. Raises DropwalkError, BadFile when something recorded does not fit it."""
    assert state.complaint is not None
    desk = shelf.desk_for(state.complaint, state.flow, Path("/"))
    if faults := list(state_misfits(state, desk)):
        raise DropwalkError("\n".join(faults))
    return desk
