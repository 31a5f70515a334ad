"""The bench served to browsers: one process for each page, all of them on the teacher's machine."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

from aiohttp import web
from textual_serve.server import Server


class _BenchServer(Server):
    """Says nothing of its own on start: the command has said where the bench is."""

    async def on_startup(self, app: web.Application) -> None:
        pass


def serve_bench(exercise: str, folder: Path, host: str, port: int) -> None:
    """Serve until it is stopped. Each browser gets a bench of its own; the exercise stays on this machine."""
    command = [sys.executable, "-m", "wizard", "lab", "bench", exercise, "--to", str(folder.resolve())]
    _BenchServer(shlex.join(command), host=host, port=port, title="dropwalk lab").serve()
