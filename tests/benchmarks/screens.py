"""How quick the screens are, on a terminal of their own.

Run as `PYTHONPATH=.:tests/ui python tests/benchmarks/screens.py`.

Prints the first paint against the smallest Textual app (aim under 1.6), a key press to the first byte of the repaint
on a map of 40 parts with ten readings (aim under 50 ms) and the memory of a job played through (aim under 150 MB).
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time
from datetime import UTC, datetime
from pathlib import Path

from long_map import long_run

from wizard.circuit.heard import Heard
from wizard.files.settings import Settings, write_settings
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.events import CautionsRead, Complaint, ReadingTaken

SMALLEST = """
from textual.app import App
class Smallest(App):
    def on_ready(self): self.call_after_refresh(self.exit)
Smallest().run()
"""
HOME = """
import sys
from pathlib import Path
from wizard.record.store import Store
from wizard.ui.app import DropwalkApp
class Home(DropwalkApp):
    def on_ready(self): self.call_after_refresh(self.exit)
Home(Store(Path(sys.argv[1]))).run()
"""
JOB = """
import sys
from pathlib import Path
from wizard.ui.app import run_app
run_app(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else None)
"""


class Terminal:
    """A program on a pseudo-terminal of 120 by 40."""

    def __init__(self, code: str, store: Path, *arguments: str) -> None:
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(self._ours, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
        root = str(Path(__file__).parents[2])
        settings = store.parent / "settings.yaml"
        write_settings(settings, Settings(tour_seen=True))
        environment = {
            **os.environ,
            "TERM": "xterm-256color",
            "PYTHONPATH": root,
            "DROPWALK_SETTINGS": str(settings),
        }
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, str(store), *arguments],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=environment,
        )
        os.close(theirs)

    def drain(self, seconds: float) -> None:
        """Read what it draws for so long."""
        until = time.perf_counter() + seconds
        while (left := until - time.perf_counter()) > 0:
            if select.select([self._ours], [], [], left)[0]:
                try:
                    os.read(self._ours, 65536)
                except OSError:
                    return

    def until_exit(self) -> None:
        """Read what it draws until it ends."""
        while self.process.poll() is None:
            self.drain(0.005)

    def send(self, keys: bytes, seconds: float = 0.0) -> None:
        """Press these keys and let it draw for so long."""
        os.write(self._ours, keys)
        self.drain(seconds)

    def repaint_ms(self, keys: bytes) -> float:
        """Milliseconds from a key press to the first byte drawn."""
        begun = time.perf_counter()
        os.write(self._ours, keys)
        select.select([self._ours], [], [], 2.0)
        took = (time.perf_counter() - begun) * 1000.0
        self.drain(0.12)
        return took

    def memory_mb(self) -> float:
        """Resident memory, where the system tells it."""
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def seconds_to_first_paint(code: str, folder: Path) -> float:
    begun = time.perf_counter()
    Terminal(code, folder / "home.sqlite3").until_exit()
    return time.perf_counter() - begun


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        smallest = min(seconds_to_first_paint(SMALLEST, folder) for _ in range(5))
        home = min(seconds_to_first_paint(HOME, folder) for _ in range(5))
        print(f"first paint: {home:.2f} s, smallest app {smallest:.2f} s, ratio {home / smallest:.2f} (aim under 1.6)")
        job = Terminal(JOB, ten_readings(folder))
        job.drain(3.0)
        job.send(b"\r", 8.0)
        took = sorted(job.repaint_ms(b"7" if turn % 2 == 0 else b"\x7f") for turn in range(60))
        print(
            f"key to repaint: median {statistics.median(took):.1f} ms, 95th percentile {took[56]:.1f} ms (aim under 50)"
        )
        print(f"memory on this map: {job.memory_mb():.0f} MB")
        job.process.terminate()
        played = Terminal(JOB, folder / "played.sqlite3", "hay-tractor")
        played.drain(4.0)
        for _ in range(40):
            # The simulated meter's reading or answer, else Enter: story, cautions, finding, repair and proof.
            played.send(b"d", 0.6)
            played.send(b"\r", 1.2)
        print(f"memory after a job played through: {played.memory_mb():.0f} MB (aim under 150)")
        played.process.terminate()


def ten_readings(folder: Path) -> Path:
    """A store with one job on a map of forty parts that ten readings were taken on."""
    circuit = folder / "long-run.yaml"
    circuit.write_text(long_run(20, 18))
    store = folder / "job.sqlite3"
    with Store(store) as kept:
        complaint = Complaint(circuit=str(circuit), symptom=Heard.CRANKS_SLOWLY)
        session = Session.create(kept, "Long", complaint, now=lambda: datetime.now(UTC))
        assert len(session.desk.circuit.parts) == 40
        session.record(CautionsRead(cautions=list(session.desk.cautions.cautions)))
        session.record(
            ReadingTaken(state="resting", red="post-plus", black="post-minus", value=12.6),
            ReadingTaken(state="cranking", red="post-plus", black="post-minus", value=11.2),
            *(
                ReadingTaken(state="cranking", red="post-plus", black=f"plus-{number}", value=round(0.05 * number, 2))
                for number in range(2, 10)
            ),
        )
    return store


if __name__ == "__main__":
    main()
