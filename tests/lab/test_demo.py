"""The shipped demo walked to its end: what is hidden is found, repaired and proved."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wizard.circuit.network import Observable
from wizard.files.places import shipped
from wizard.files.shelf import fitted
from wizard.files.yamltext import read_document
from wizard.lab.scenario import Scenario, repairs_for
from wizard.lab.vehicle import Vehicle
from wizard.walk.events import Answered, Event, ReadingTaken, Repaired, Started
from wizard.walk.jobfile import JobFile
from wizard.walk.state import fold
from wizard.walk.walker import Plan, assess

SHIPPED = shipped("scenarios")


def walked(name: str, plan: Plan) -> tuple[list[Event], str | None]:
    """The events of a demo that follows the wizard's word, and the step that it finished at."""
    scenario, desk = fitted(read_document(SHIPPED / f"{name}.yaml"), Scenario, Path())
    vehicle = Vehicle(scenario, desk.circuit, np.random.default_rng(5))
    log: list[Event] = [Started(title=scenario.title, complaint=scenario.complaint())]
    while (following := assess(desk, fold(log), plan, cautions_read=True).next).kind != "finish":
        assert len(log) < 30, f"still at {following.step} after {len(log)} events"
        if following.kind == "repair":
            assert following.repair
            vehicle.repair(following.repair)
            log.append(Repaired(repair=following.repair))
        elif following.kind == "ask":
            assert following.step
            choice = vehicle.answer(following.step, desk.flow.steps[following.step])
            log.append(Answered(step=following.step, choice=choice))
        else:
            assert following.state
            leads = {"red": following.red, "black": following.black, "clamp": following.clamp}
            vehicle.crank()
            value = vehicle.read(Observable(following.state, **{k: v for k, v in leads.items() if v}))
            log.append(ReadingTaken(state=following.state, value=value, **leads))
    return log, following.step


@pytest.mark.parametrize("plan", ["walk", "fastest"])
@pytest.mark.parametrize("name", ["parcel-van", "day-boat", "hay-tractor"])
def test_a_demo_ends_with_its_own_repair_proved(name: str, plan: Plan) -> None:
    scenario, desk = fitted(read_document(SHIPPED / f"{name}.yaml"), Scenario, Path())
    log, finished_at = walked(name, plan)
    [done] = [event.repair for event in log if isinstance(event, Repaired)]
    assert all(done in repairs_for(fault, desk.circuit.map) for fault in scenario.hidden)
    assert finished_at == ("watch-it" if scenario.intermittent else "done")
    assert sum(isinstance(event, ReadingTaken) for event in log) <= 14


@pytest.mark.parametrize("plan", ["walk", "fastest"])
@pytest.mark.parametrize(
    ("name", "repair"),
    [("horse-box", "clean-bulkhead-starter-joint"), ("street-sweeper", "replace-start-switch")],
)
def test_a_shipped_job_is_diagnosed_from_its_readings(name: str, repair: str, plan: Plan) -> None:
    job, desk = fitted(read_document(SHIPPED / f"{name}.yaml"), JobFile, Path())
    finding = assess(desk, fold(job.events()), plan, cautions_read=True).finding
    assert finding is not None
    assert finding.repair == repair
    assert finding.evidence
