"""Three whole jobs in a real terminal of 80 by 24, from intake to the report."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from terminal import HEIGHT, ROOT, Terminal

from wizard.circuit.network import Observable
from wizard.lab.scenario import Scenario, repairs_for
from wizard.lab.vehicle import Vehicle
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.desk import Desk

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")
# No job needs more turns than this.
_MOST_TURNS = 60
# What the line of keys or the heading says when it is the user's turn.
_WAITING = ("take it", "answer", "go on", "read and done", "repair is done", "it is done", "pick", "What was found")

JOBS = [
    pytest.param("front-battery", "one click", [{"part": "b-stud-joint", "excess": "20 mohm"}], id="joint"),
    pytest.param("remote-battery", "slowly", [{"part": "long-cable", "excess": "5 mohm"}], id="cable"),
    pytest.param("front-battery", "rapid", [{"battery": "discharged", "source_v": "11.4 V"}], id="battery"),
]


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    opened = Terminal(tmp_path)
    yield opened
    opened.close()


@pytest.mark.parametrize(("circuit", "symptom", "hidden"), JOBS)
def test_a_job_from_intake_to_the_report(
    terminal: Terminal, tmp_path: Path, circuit: str, symptom: str, hidden: list[dict[str, str]]
) -> None:
    scenario = Scenario.model_validate(
        {"scenario": "x", "title": "x", "story": "Made for this test.", "circuit": circuit, "hidden": hidden}
    )
    tour(terminal)
    intake(terminal, circuit, symptom)
    desk = desk_of(terminal)
    vehicle = Vehicle(scenario, desk.circuit, np.random.default_rng(1), noise=False)
    repaired = False
    for _ in range(_MOST_TURNS):
        shown = terminal.until(
            "take it",
            "answer",
            "go on",
            "next page",
            "read and done",
            "repair is done",
            "it is done",
            "pick",
            "What was found",
        )
        assert len(shown.splitlines()) <= HEIGHT
        if "read and done" in shown:
            terminal.press("Enter")
        elif "Is the repair done?" in shown:
            vehicle.repair(found(terminal))
            repaired = True
            terminal.press("Enter")
        elif "repair is done" in shown:
            terminal.press("Enter")
        elif "What was found" in shown:
            break
        elif "What happened?" in shown:
            terminal.press("Enter")
        elif "Enter list them" in shown:
            terminal.press(answer(shown, desk, vehicle))
            terminal.until("Enter answer")
            terminal.press("Enter")
        elif "Enter take it" in shown:
            vehicle.crank()
            value = f"{vehicle.read(leads(shown, desk)):.2f}"
            terminal.type(value)
            shown = terminal.until(f"Reading  {value} ")
            terminal.press("Enter")
            terminal.until_gone(f"Reading  {value} ")
        else:
            terminal.press("Enter")
        changed(terminal, shown)
    assert repaired
    terminal.press("Escape")
    terminal.until("q writes the report")
    terminal.press("q")
    terminal.until("Report: in which form?")
    terminal.press("Enter")
    terminal.until("Write the report to")
    terminal.type(str(tmp_path / "report.html"))
    terminal.press("Enter")
    terminal.until("The report is", seconds=60.0)
    assert desk.circuit.repairs[found(terminal)].label.lower() in (tmp_path / "report.html").read_text().lower()
    told = subprocess.run(
        [sys.executable, "-m", "wizard", "--store", str(terminal.store), "jobs", "show", "1"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    ).stdout
    assert "In the terminal" in told
    assert found(terminal) in true_repairs(scenario, desk)


def tour(terminal: Terminal) -> None:
    terminal.until("One minute around")
    terminal.press("Escape")
    terminal.until("No jobs yet")


def intake(terminal: Terminal, circuit: str, symptom: str) -> None:
    terminal.press("n")
    terminal.until("New job")
    terminal.press("Enter")
    terminal.until("take it")
    terminal.type("In the terminal")
    terminal.press("Enter")
    terminal.until("Job                   In the terminal")
    terminal.press("Down", "Enter")
    terminal.until("Which circuit is it?")
    terminal.type(circuit)
    terminal.press("Enter")
    terminal.until("s begin the job")
    terminal.press("Down", "Down", "Down", "Enter")
    terminal.until("What does it do when start is held?")
    terminal.type(symptom)
    terminal.press("Enter")
    terminal.until("s begin the job")
    terminal.press("s")
    terminal.until("Page 1 of")


def changed(terminal: Terminal, before: str) -> None:
    """Wait until the screen is another one; a page of cautions may end without scrolling."""
    for _ in range(50):
        if terminal.shown() != before:
            return
        terminal.until("")
    raise AssertionError(f"nothing happened on:\n{before}")


def session_of(store: Store) -> Session:
    return Session.open(store, 1, lambda: datetime.now(UTC))


def desk_of(terminal: Terminal) -> Desk:
    with Store(terminal.store) as store:
        return session_of(store).desk


def found(terminal: Terminal) -> str:
    """The repair done, or else the one that the readings call for."""
    with Store(terminal.store) as store:
        session = session_of(store)
        if session.state.repairs:
            return session.state.repairs[0]
        finding = session.assess("walk").finding
        assert finding is not None
        return finding.repair


def true_repairs(scenario: Scenario, desk: Desk) -> set[str]:
    """Every repair that puts the hidden fault right."""
    return {repair for fault in scenario.hidden for repair in repairs_for(fault, desk.circuit.map)}


def leads(shown: str, desk: Desk) -> Observable:
    """Where the step says that the leads go, as a reader takes it from the screen."""
    state = "cranking" if "start held" in shown else "resting"
    if around := re.search(r"Clamp +around the (.+?), zeroed", shown):
        part = next(name for name, part in desk.circuit.map.parts.items() if part.label == around[1])
        return Observable(state, clamp=part)
    points = {point.label: name for name, point in desk.circuit.map.points.items()}
    places = [re.search(rf"^ {lead} +(.+?):", shown, re.MULTILINE) for lead in ("Red", "Black")]
    assert all(places), shown
    red, black = (points[place[1]] for place in places if place)
    return Observable(state, red, black)


def answer(shown: str, desk: Desk, vehicle: Vehicle) -> str:
    """The number of the answer that someone who looks and listens gives."""
    name, step = next((n, s) for n, s in desk.flow.steps.items() if s.title in shown.splitlines()[1])
    label = step.choices[vehicle.answer(name, step)]
    number = re.search(rf"^ +(\d) +{re.escape(label)}", shown, re.MULTILINE)
    assert number, shown
    return number[1]
