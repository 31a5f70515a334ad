"""A program in a real terminal of 80 by 24, driven through tmux."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
WIDTH, HEIGHT = 80, 24


class Terminal:
    """One tmux server of its own with one program in it."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self._socket = folder / "tmux"
        self.store = folder / "jobs.sqlite3"
        command = [sys.executable, "-m", "wizard", "--store", str(self.store), *arguments]
        environment = {
            "PYTHONPATH": str(ROOT),
            "DROPWALK_SETTINGS": str(folder / "settings.yaml"),
            "TERM": "xterm-256color",
            "LC_ALL": "C.UTF-8",
        }
        told = [f"{name}={value}" for name, value in environment.items()]
        line = shlex.join(["env", *told, *command])
        self._tmux("new-session", "-d", "-x", str(WIDTH), "-y", str(HEIGHT), line)

    def _tmux(self, *arguments: str) -> str:
        told = ["tmux", "-f", "/dev/null", "-S", str(self._socket), *arguments]
        return subprocess.run(told, capture_output=True, text=True, check=False, env={**os.environ, "TMUX": ""}).stdout

    def shown(self) -> str:
        """What stands on the terminal."""
        return self._tmux("capture-pane", "-p")

    def press(self, *keys: str) -> None:
        """Press keys by their tmux names."""
        self._tmux("send-keys", *keys)

    def type(self, text: str) -> None:
        """Type this text as it is."""
        self._tmux("send-keys", "-l", text)

    def until(self, *texts: str, seconds: float = 20.0) -> str:
        """Wait until one of these texts stands there and the screen is at rest; the screen."""
        end = time.monotonic() + seconds
        before = ""
        while time.monotonic() < end:
            shown = self.shown()
            if shown == before and "working it out" not in shown and any(text in shown for text in texts):
                return shown
            before = shown
            time.sleep(0.1)
        raise AssertionError(f"none of {texts} came up:\n{before}")

    def until_gone(self, text: str, seconds: float = 20.0) -> None:
        """Wait until this text stands there no more, or a page lies over it."""
        end = time.monotonic() + seconds
        while text in (shown := self.shown()) and "F1 help" not in shown:
            assert time.monotonic() < end, f"{text!r} stays:\n{shown}"
            time.sleep(0.1)

    def close(self) -> None:
        """End the program and its server."""
        self._tmux("kill-server")
