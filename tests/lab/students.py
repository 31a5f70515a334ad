"""Made-up students: each works at a bench of their own, some well and some badly, and hands in."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from wizard.lab.bench import Bench
from wizard.lab.deeds import Concluded, Deed, Line, Listened, Probed, Repaired, SideNamed
from wizard.lab.exercise import Exercise, named, where
from wizard.lab.handin import HandIn
from wizard.lab.solving import Solved
from wizard.walk.desk import Desk
from wizard.walk.events import CautionsRead

BEGAN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


class Student:
    """Does deeds at a bench, a minute apart, and writes them down."""

    def __init__(self, exercise: Exercise, desk: Desk, seed: int, name: str = "A. Learner") -> None:
        self.exercise, self.desk, self.seed, self.name = exercise, desk, seed, name
        self.bench = Bench(exercise, desk, seed)
        self.lines: list[Line] = []

    def do(self, *deeds: Deed) -> Student:
        for deed in deeds:
            at_s = 180.0 * len(self.lines)
            self.lines.append(Line(at_s=at_s, deed=self.bench.do(deed, at_s)))
        return self

    def read_cautions(self) -> Student:
        return self.do(CautionsRead(cautions=list(self.desk.flow.steps[self.desk.flow.start].cautions)))

    def hand_in(self) -> HandIn:
        return HandIn.of(self.exercise, self.name, self.seed, BEGAN, self.lines)


def good_student(exercise: Exercise, desk: Desk, best: Solved, seed: int = 5, name: str = "A. Learner") -> Student:
    """Reads both sides first, follows the best plan, names the side, repairs, proves and gives reasons."""
    circuit = desk.circuit
    student = Student(exercise, desk, seed, name).read_cautions()
    side = where(exercise.hidden[0], circuit) if exercise.hidden else "nothing"
    whole = circuit.runs.get(side)
    if whole:
        student.do(Probed(red=whole[0], black=whole[1], held_s=5.0))
    student.do(SideNamed(side=side))
    readings = [Probed(**reading.model_dump(exclude={"kind", "shown", "crank"})) for reading in best.readings]
    student.do(*readings)
    student.do(*(Repaired(repair=repair) for repair in best.repairs))
    taken = [line.deed for line in student.lines if isinstance(line.deed, Probed)]
    if exercise.hidden:
        student.do(*(Probed(**r.model_dump(exclude={"kind", "shown", "crank"})) for r in taken[-2:]))
    parts = [named(fault) for fault in exercise.hidden]
    evidence = list(range(1, len(taken) + 1))
    return student.do(Concluded(parts=parts, evidence=evidence, reasons="It loses far more than a sound one would."))


def any_student(exercise: Exercise, desk: Desk, seed: int, name: str) -> Student:
    """Wanders along the steps of the walk and to points at random, and ends with some repair or other."""
    chance = np.random.default_rng(seed)
    circuit = desk.circuit
    student = Student(exercise, desk, seed, name)
    if chance.random() < 0.9:
        student.read_cautions()
    role = circuit.roles
    walk = [
        (role[step.red or ""], role[step.black or ""], step.state == "cranking")
        for step in desk.flow.steps.values()
        if step.kind == "measure"
    ]
    for red, black, held in walk[: int(chance.integers(2, len(walk) + 1))]:
        if chance.random() < 0.85:
            student.do(Probed(red=red, black=black, held_s=5.0 if held and chance.random() < 0.95 else 0.0))
    student.do(SideNamed(side=str(chance.choice(["positive", "ground", "control", "battery"]))))  # pyright: ignore[reportArgumentType]
    points = list(circuit.points_along(*circuit.runs["positive" if chance.random() < 0.5 else "ground"]))
    low = 0
    for _ in range(int(chance.integers(1, 5))):
        if low >= len(points) - 1:
            break
        high = int(chance.integers(low + 1, len(points)))
        student.do(Probed(red=points[low], black=points[high], held_s=5.0))
        low = high if chance.random() < 0.5 else low
    if chance.random() < 0.2:
        student.do(Listened(held_s=float(chance.uniform(2, 40))))
    part = str(chance.choice(list(circuit.parts)))
    if chance.random() < 0.5 and exercise.hidden:
        part = named(exercise.hidden[0])
    repair = circuit.parts[part].part.repair if part in circuit.parts else "replace-battery"
    student.do(Repaired(repair=repair))
    if chance.random() < 0.6:
        student.do(Probed(red=points[0], black=points[-1], held_s=5.0))
    return student.do(Concluded(parts=[part], evidence=[1, 2], reasons="It read high there, higher than the rest did."))
