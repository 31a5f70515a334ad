"""The bench served to a browser: started, read and handed in, in a headless Chromium."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

pytest.importorskip("textual_serve", reason="the extra `lab` is not installed")
from tests.lab import browser
from tests.lab.shipped import set_exercise
from wizard.lab.classroom import ENDING
from wizard.lab.handin import read_handin
from wizard.lab.marking import Marker


async def wait_for(folder: Path, ending: str) -> Path:
    async with asyncio.timeout(60):
        while not (found := sorted(folder.glob(f"*{ending}"))):
            await asyncio.sleep(0.1)
    return found[0]


@pytest.mark.skipif(browser.CHROMIUM is None, reason="Chromium is not installed (Debian package chromium)")
async def test_a_reading_is_taken_and_handed_in_from_a_browser(tmp_path: Path) -> None:
    async with browser.served("burnt-contacts", tmp_path) as url, browser.browser(1) as (tab,):
        await tab.open(url)
        # The name, the story, the cautions put off; then red on the positive post, black three points on, start held.
        await tab.keys(*"Ada", "Enter")
        await tab.settle()
        await tab.keys("Escape", "Escape")
        await tab.keys("r", "ArrowDown", "ArrowDown", "ArrowDown", "b", "h")
        await wait_for(tmp_path, ".draft.json")
        await tab.settle()
        await tab.keys("i", "Enter")
        file = await wait_for(tmp_path, ENDING)
    handin = read_handin(file)
    assert handin.student == "Ada"
    marked = Marker(*set_exercise("burnt-contacts")).mark(handin)
    [step] = marked.steps
    assert step.done.startswith("battery positive post to starter B stud")
    assert 0 < marked.total < 50
