"""A map of eighty parts: drawn, scrolled to the leads, pointed along and typed into as a small one is."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from driven import Open

from wizard.circuit.heard import Heard
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.ui.run_view import RunView
from wizard.walk.events import Complaint

_POSITIVE, _GROUND = 40, 38


def eighty_parts() -> str:
    """The map as its file says it: forty parts to the B stud, the contacts, thirty-eight back, and the trigger wire."""
    positive = ["post-plus", *(f"plus-{n}" for n in range(1, _POSITIVE)), "b-stud"]
    ground = ["case", *(f"minus-{n}" for n in range(1, _GROUND)), "post-minus"]
    points = [*positive, "motor-stud", *ground, "trigger"]
    parts: list[tuple[str, str, str, str]] = []
    for side, along in (("positive", positive), ("ground", ground)):
        for number, (first, second) in enumerate(pairwise(along), 1):
            parts.append((f"{side}-part-{number}", side, first, second))
    lines = [
        "circuit: long-run",
        "title: A long run",
        "system_v: 12",
        "battery: {positive: post-plus, negative: post-minus, cca_a: 680}",
        "starter: {positive: motor-stud, negative: case, cranking_a: [120, 170, 250], locked_rotor_a: 520}",
        "solenoid: {contacts: contacts, coil: [trigger, case], pull_in_a: 40, hold_in_a: 11, pull_in_v: 7.5}",
        "points:",
        *(f"  {point}: {{label: {point.replace('-', ' ')}, probe: on bare metal}}" for point in points),
        "parts:",
        "  contacts: {label: contacts, kind: contacts, side: positive, between: [b-stud, motor-stud], repair: mend}",
        "  wire: {label: wire, kind: cable, side: control, between: [post-plus, trigger], length: 2 m, size: 6 mm2,"
        " repair: mend}",
    ]
    for name, side, first, second in parts:
        # A repair of its own for each part, or all of them would be one answer.
        lines.append(
            f"  {name}: {{label: {name.replace('-', ' ')}, kind: joint, side: {side}, between: [{first}, {second}],"
            f" repair: clean-{name}}}"
        )
    lines += ["repairs:", "  mend: {label: mend it, kind: replace, minutes: 30}"]
    lines += [
        f"  clean-{name}: {{label: clean {name.replace('-', ' ')}, kind: clean, minutes: 10}}" for name, *_ in parts
    ]
    return "\n".join(lines) + "\n"


async def test_a_map_of_eighty_parts(bay: Open, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "long-run.yaml"
    path.write_text(eighty_parts())
    complaint = Complaint(circuit=str(path), symptom=Heard.CRANKS_SLOWLY)
    session = Session.create(store, "Long", complaint, now=lambda: datetime(2030, 5, 1, 9, tzinfo=UTC))
    assert len(session.desk.circuit.parts) == 80
    async with bay() as driven:
        await driven.press("enter", "enter")
        await driven.confirm_cautions()
        for value in ("12.6", "11.5", "0.9"):
            await driven.type(value)
        for size in ((120, 40), (80, 24)):
            await driven.pilot.resize_terminal(*size)
            await driven.settle()
            # The black lead is the one that moves: it is always in view.
            assert any(line.lstrip().startswith("B ") for line in driven.shown().splitlines())
        await driven.pilot.press(*["down"] * 100)
        await driven.settle()
        assert driven.job.query_one(RunView).pointed == "wire"
        assert any(line.startswith(" >") for line in driven.shown().splitlines())
        await driven.press("v")
        assert "plus 1 " in driven.shown()
