"""A map of eighty parts: drawn, scrolled to the leads, pointed along and typed into as a small one is."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from driven import Open
from long_map import long_run

from wizard.circuit.heard import Heard
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.ui.run_view import RunView
from wizard.walk.events import Complaint


async def test_a_map_of_eighty_parts(bay: Open, store: Store, tmp_path: Path) -> None:
    path = tmp_path / "long-run.yaml"
    path.write_text(long_run(40, 38))
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
