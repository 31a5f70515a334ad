"""A headless Chromium on a served bench, driven over its DevTools protocol, with the times of what it is sent."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import shutil
import signal
import socket
import sys
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import aiohttp

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
_ROOT = Path(__file__).resolve().parents[2]
# Put before the page's own scripts: when each message with something to draw came, and the frame after it.
_WATCH = """
window.__drawn = [];
const Plain = window.WebSocket;
window.WebSocket = class extends Plain {
  constructor(...args) {
    super(...args);
    this.addEventListener('message', (event) => {
      if (typeof event.data !== 'string') {
        requestAnimationFrame(() => window.__drawn.push(performance.now()));
      }
    });
  }
};
"""
_CODES = {"Enter": 13, "Escape": 27, "ArrowDown": 40, "ArrowUp": 38, " ": 32}


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as made:
        made.bind(("127.0.0.1", 0))
        return int(made.getsockname()[1])


async def _answers(url: str, process: asyncio.subprocess.Process) -> None:
    async with aiohttp.ClientSession() as web:
        for _ in range(400):
            assert process.returncode is None, "the process has ended"
            with contextlib.suppress(aiohttp.ClientError):
                async with web.get(url) as answer:
                    if answer.status == 200:
                        return
            await asyncio.sleep(0.1)
    raise AssertionError(f"{url} does not answer")


@contextlib.asynccontextmanager
async def _running(*command: str) -> AsyncIterator[asyncio.subprocess.Process]:
    """A process of its own session, ended with all that it started."""
    nowhere = asyncio.subprocess.DEVNULL
    process = await asyncio.create_subprocess_exec(
        *command, stdout=nowhere, stderr=nowhere, start_new_session=True, cwd=_ROOT
    )
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGTERM)
        try:
            await asyncio.wait_for(process.wait(), 10)
        except TimeoutError:
            os.killpg(process.pid, signal.SIGKILL)
            await process.wait()


@contextlib.asynccontextmanager
async def served(exercise: str, folder: Path) -> AsyncIterator[str]:
    """The address of a bench that is served until this is left."""
    port = free_port()
    command = [sys.executable, "-m", "wizard", "lab", "serve", exercise, "--to", str(folder), "--port", str(port)]
    async with _running(*command) as process:
        url = f"http://127.0.0.1:{port}"
        await _answers(url, process)
        yield url


class Tab:
    """One page in the browser."""

    def __init__(self, socket_: aiohttp.ClientWebSocketResponse) -> None:
        self._socket = socket_
        self._number = 0
        self.requests: list[str] = []

    async def ask(self, method: str, **params: Any) -> dict[str, Any]:
        """One command of the protocol and its result."""
        self._number += 1
        await self._socket.send_json({"id": self._number, "method": method, "params": params})
        while True:
            answer = json.loads((await self._socket.receive(timeout=60)).data)
            self._note(answer)
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return answer["result"]

    def _note(self, event: dict[str, Any]) -> None:
        """Keep the address of whatever the page asks for."""
        told = event.get("params", {})
        if event.get("method") == "Network.requestWillBeSent":
            self.requests.append(told["request"]["url"])
        elif event.get("method") == "Network.webSocketCreated":
            self.requests.append(told["url"])

    async def evaluate(self, script: str) -> Any:
        result = await self.ask("Runtime.evaluate", expression=script, returnByValue=True)
        return result["result"].get("value")

    async def open(self, url: str) -> None:
        """Open the bench and wait until it draws."""
        await self.ask("Page.enable")
        await self.ask("Network.enable")
        await self.ask("Page.addScriptToEvaluateOnNewDocument", source=_WATCH)
        await self.ask("Page.navigate", url=url)
        await self.until_drawn(0, timeout_s=180)
        await self.settle()
        for press in ("mousePressed", "mouseReleased"):
            await self.ask("Input.dispatchMouseEvent", type=press, x=200, y=40, button="left", clickCount=1)

    async def drawn(self) -> int:
        return int(await self.evaluate("(window.__drawn || []).length"))

    async def until_drawn(self, before: int, timeout_s: float = 20) -> None:
        async with asyncio.timeout(timeout_s):
            while await self.drawn() <= before:
                await asyncio.sleep(0.02)

    async def settle(self, quiet_s: float = 0.8) -> None:
        """Wait until nothing more is drawn."""
        before = -1
        while (now := await self.drawn()) != before:
            before = now
            await asyncio.sleep(quiet_s)

    async def key(self, key: str) -> None:
        """Press and let go one key."""
        code = _CODES.get(key, ord(key[0].upper()))
        text = {"Enter": "\r"}.get(key, key if len(key) == 1 else "")
        names = {"key": key, "windowsVirtualKeyCode": code, "nativeVirtualKeyCode": code}
        await self.ask("Input.dispatchKeyEvent", type="keyDown" if text else "rawKeyDown", text=text, **names)
        await self.ask("Input.dispatchKeyEvent", type="keyUp", **names)

    async def keys(self, *keys: str) -> None:
        for key in keys:
            await self.key(key)
            await asyncio.sleep(0.25)

    async def key_to_repaint_ms(self, key: str) -> float:
        """Milliseconds from a key to the first frame after something new came to be drawn."""
        start = await self.evaluate("performance.now()")
        before = await self.drawn()
        await self.key(key)
        await self.until_drawn(before)
        return float(await self.evaluate(f"window.__drawn[{before}]")) - float(start)


@contextlib.asynccontextmanager
async def browser(tabs: int) -> AsyncIterator[list[Tab]]:
    """So many empty pages in one headless browser."""
    assert CHROMIUM is not None
    port = free_port()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        flags = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"]
        # Pages behind others would otherwise draw once a second.
        flags += ["--disable-background-timer-throttling", "--disable-renderer-backgrounding"]
        flags += ["--disable-backgrounding-occluded-windows", f"--user-data-dir={profile}"]
        async with _running(CHROMIUM, *flags, f"--remote-debugging-port={port}", "about:blank") as process:
            root = f"http://127.0.0.1:{port}"
            await _answers(f"{root}/json/version", process)
            async with aiohttp.ClientSession() as web, contextlib.AsyncExitStack() as open_:
                async with web.get(f"{root}/json/version") as answer:
                    address = (await answer.json())["webSocketDebuggerUrl"]
                whole = Tab(await open_.enter_async_context(web.ws_connect(address)))
                made: list[Tab] = []
                for _ in range(tabs):
                    # A window each: a page behind another draws no frames.
                    page = await whole.ask("Target.createTarget", url="about:blank", newWindow=True)
                    address = f"ws://127.0.0.1:{port}/devtools/page/{page['targetId']}"
                    tab = Tab(await open_.enter_async_context(web.ws_connect(address, max_msg_size=0)))
                    await tab.ask("Emulation.setFocusEmulationEnabled", enabled=True)
                    made.append(tab)
                yield made
