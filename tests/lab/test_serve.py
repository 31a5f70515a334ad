"""The bench served to a browser: started, read and handed in, in a headless Chromium."""

from __future__ import annotations

import asyncio
from pathlib import Path
from urllib.parse import urlsplit

import aiohttp
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
        await tab.evaluate("1")
        asked = {urlsplit(address) for address in tab.requests if not address.startswith("data:")}
    # Script, style, font and socket all come from the machine that serves.
    assert {"/static/js/textual.js", "/ws"} <= {address.path for address in asked}
    assert {address.netloc for address in asked} == {urlsplit(url).netloc}
    handin = read_handin(file)
    assert handin.student == "Ada"
    marked = Marker(*set_exercise("burnt-contacts")).mark(handin)
    [step] = marked.steps
    assert step.done.startswith("battery positive post to starter B stud")
    assert 0 < marked.total < 50


async def test_a_page_of_another_site_gets_no_bench(tmp_path: Path) -> None:
    async with browser.served("burnt-contacts", tmp_path) as url, aiohttp.ClientSession() as web:
        async with web.get(url) as page:
            text, policy = await page.text(), page.headers["Content-Security-Policy"]
        assert "https://" not in text
        assert "default-src 'none'" in policy
        for headers in ({}, {"Origin": "http://example.org"}):
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await web.ws_connect(f"{url}/ws", headers=headers)
            assert refused.value.status == 403
