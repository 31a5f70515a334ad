"""A store of its own for each test, and the screens on it."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from driven import Bay, Open

from wizard.files.settings import Settings
from wizard.record.store import Store
from wizard.ui.app import DropwalkApp


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "jobs.sqlite3") as kept:
        yield kept


@pytest.fixture
def bay(store: Store) -> Open:
    @asynccontextmanager
    async def opened(
        scenario: str | None = None,
        size: tuple[int, int] = (80, 24),
        settings: Settings | None = None,
        settings_file: Path | None = None,
    ) -> AsyncIterator[Bay]:
        app = DropwalkApp(store, scenario, settings, settings_file)
        async with app.run_test(size=size) as pilot:
            driven = Bay(app, pilot)
            await driven.settle()
            if scenario is not None:
                # The story, then the cautions: each test goes on from the job itself.
                await driven.press("escape", "escape")
            yield driven

    return opened
