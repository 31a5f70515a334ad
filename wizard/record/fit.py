"""Whether what happened in a job fits its circuit map, its flow and the cautions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from wizard.circuit.map import Path
from wizard.walk.desk import Desk
from wizard.walk.events import (
    Answered,
    CautionsRead,
    Event,
    Jumped,
    MinutesLogged,
    OutOfReach,
    ReadingTaken,
    Repaired,
)
from wizard.walk.jobfile import JobFile, RepairDone
from wizard.walk.state import JobState


def event_misfits(event: Event, desk: Desk) -> Iterator[tuple[Path, str]]:
    """What an event names that the desk does not have: where in the event, and what is allowed."""
    match event:
        case ReadingTaken():
            yield from event.inconsistencies()
            for path, message in _job_misfits(desk, readings=[event]):
                yield path[2:], message
        case Repaired():
            done = RepairDone(repaired=event.repair, fitted=event.fitted)
            for path, message in _job_misfits(desk, readings=[done]):
                yield ("repair",) if path[2:] == ("repaired",) else path[2:], message
        case Answered():
            for _, message in _job_misfits(desk, answers={event.step: event.choice}):
                yield ("step",), message
        case OutOfReach():
            for _, message in _job_misfits(desk, out_of_reach=[event.point]):
                yield ("point",), message
        case Jumped() | MinutesLogged(step=str()):
            if event.step not in desk.flow.steps:
                yield ("step",), f"the flow {desk.flow.flow!r} has no step {event.step!r}"
        case CautionsRead():
            for number, name in enumerate(event.cautions):
                if name not in desk.cautions.cautions:
                    yield ("cautions", number), f"there is no caution {name!r}"
        case _:
            pass


def state_misfits(state: JobState, desk: Desk) -> Iterator[str]:
    """What everything recorded so far names that the desk does not have."""
    standing: list[Event] = [reading.taken for reading in state.readings]
    standing += [Repaired(repair=name, fitted=fit) for name, fit in zip(state.repairs, state.fits, strict=True)]
    standing += [Answered(step=step, choice=choice) for step, choice in state.answers.items()]
    standing += [OutOfReach(point=point) for point in sorted(state.out_of_reach)]
    standing += [Jumped(step=state.jumped_to)] if state.jumped_to else []
    for event in standing:
        yield from (message for _, message in event_misfits(event, desk))


def _job_misfits(desk: Desk, **parts: Any) -> Iterator[tuple[Path, str]]:
    circuit_map, flow = desk.circuit.map, desk.flow
    only = JobFile.model_construct(job="", circuit=circuit_map.circuit, flow=flow.flow, **parts)
    return only.misfits(circuit_map, flow)
