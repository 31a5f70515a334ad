"""The bench served to browsers: one process for each page, all of them on the teacher's machine."""

from __future__ import annotations

import html
import logging
import shlex
import sys
from pathlib import Path
from urllib.parse import urlsplit

from aiohttp import web
from textual_serve.server import Server

from wizard.errors import DropwalkError

# The page of our own, for the library's asks a font from outside; all that this one needs comes from this machine.
_PAGE = """\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>{title}</title>
<link rel="stylesheet" href="/static/css/xterm.css">
<script src="/static/js/textual.js"></script>
<style>
@font-face {{ font-family: "Roboto Mono"; src: url("/static/fonts/RobotoMono-VariableFont_wght.ttf"); }}
body {{ margin: 0; overflow: hidden; background: #14171a; color: #e8e6e0; font-family: "Roboto Mono", monospace; }}
.note {{ position: absolute; inset: 0; display: flex; align-items: center; justify-content: center; z-index: 9; }}
.note a {{ color: inherit; margin-left: 1ch; }}
.over, body.-first-byte .wait {{ display: none; }}
body.-closed .over {{ display: flex; }}
</style>
</head>
<body>
<p class="note wait">The bench is coming.</p>
<p class="note over">The bench is closed. <a href="/">Open it again</a></p>
<div id="terminal" class="textual-terminal" data-session-websocket-url="ws://{host}/ws" data-font-size="16"></div>
</body>
</html>
"""
# A browser that heeds this asks nothing of any other machine, whatever the scripts want.
_POLICY = (
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self' 'unsafe-inline'; font-src 'self'; "
    "img-src 'self' data: blob:; worker-src blob:; connect-src ws://{host}; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


class _BenchServer(Server):
    """Says nothing of its own on start: the command has said where the bench is."""

    async def on_startup(self, app: web.Application) -> None:
        pass

    def initialize_logging(self) -> None:
        """Tell the teacher what goes wrong, not every page that is asked for."""
        logging.basicConfig(level=logging.WARNING, format="! %(message)s")

    async def handle_index(self, request: web.Request) -> web.Response:  # pyright: ignore[reportIncompatibleMethodOverride]
        """The page that draws the bench."""
        host = html.escape(request.host)
        page = _PAGE.format(title=html.escape(self.title), host=host)
        headers = {"Content-Security-Policy": _POLICY.format(host=host), "Referrer-Policy": "no-referrer"}
        return web.Response(text=page, content_type="text/html", headers=headers)

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """A bench for this page; pages of other sites get none."""
        if urlsplit(request.headers.get("Origin", "")).netloc != request.host:
            raise web.HTTPForbidden(text="The bench opens from its own page only.")
        return await super().handle_websocket(request)


def serve_bench(exercise: str, folder: Path, host: str, port: int, *, answers: bool) -> None:
    """Serve until it is stopped. Each browser gets a bench of its own; the exercise stays on this machine.

    `answers` shows the answer of an open exercise right after each hand-in. Raises DropwalkError when nothing can be
    served at this address.
    """
    command = [sys.executable, "-m", "wizard", "lab", "bench", exercise, "--to", str(folder.resolve())]
    command += [] if answers else ["--served"]
    try:
        _BenchServer(shlex.join(command), host=host, port=port, title="dropwalk lab").serve()
    except OSError as error:
        why = str(error.strerror or error).rpartition(": ")[2]
        raise DropwalkError(f"{host}:{port} can't be served at: {why}; give another --port or --host") from None
