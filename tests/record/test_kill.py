"""Killed at any moment, the record has everything that was acknowledged, and nothing half."""

import random
import select
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime

import pytest

from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.events import Complaint, ReadingStruck, ReadingTaken
from wizard.walk.state import fold

KILLS = 32

# Takes readings one after the other, strikes out every fifth, and prints a number only once it is on disk.
BAY = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from wizard.errors import DropwalkError
from wizard.record.session import Session
from wizard.record.store import Store
from wizard.walk.events import ReadingStruck, ReadingTaken

session = Session.open(Store(Path(sys.argv[1])), 1, lambda: datetime.now(UTC))
print("ready", flush=True)
while True:
    number = len(session.state.readings) + 1
    value = number / 1000
    seq = session.record(ReadingTaken(state="cranking", red="chassis", black="engine-block", value=value))
    print(seq, value, flush=True)
    if number % 5 == 0:
        try:
            seq = session.record(ReadingStruck(reading=number))
        except DropwalkError:
            # The other one struck it out first.
            continue
        print(seq, -number, flush=True)
"""


def acknowledged(process, chance):
    """Let the process work for a random while, kill it, and return the lines that it got out whole."""
    lines = b""
    process.stdout.readline()
    until = time.monotonic() + chance.uniform(0, 0.06)
    while (left := until - time.monotonic()) > 0:
        if select.select([process.stdout], [], [], left)[0]:
            lines += process.stdout.read1()
    process.send_signal(signal.SIGKILL)
    lines += process.stdout.read()
    assert process.wait(30) == -signal.SIGKILL
    return [line.split() for line in lines.decode().split("\n")[:-1]]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no SIGKILL")
def test_no_acknowledged_reading_is_ever_lost(tmp_path):
    path = tmp_path / "jobs.sqlite3"
    chance = random.Random(8)
    told = {}
    with Store(path) as store:
        Session.create(store, "test rig", Complaint(circuit="front-battery"), now=lambda: datetime.now(UTC))
    for _ in range(KILLS // 2):
        # Two at once, so that one dies while the other writes.
        pair = [
            subprocess.Popen([sys.executable, "-c", BAY, str(path)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
            for _ in range(2)
        ]
        for process in pair:
            told |= {int(seq): float(value) for seq, value in acknowledged(process, chance)}
        with Store(path) as store:
            session = Session.open(store, 1, lambda: datetime.now(UTC))
            assert store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        log = {stored.seq: stored.event for stored in session.log}
        assert list(log) == list(range(1, len(log) + 1))
        for seq, value in told.items():
            match log[seq]:
                case ReadingTaken(value=volts):
                    assert volts == value
                case ReadingStruck(reading=number):
                    assert number == -value
                case other:
                    pytest.fail(f"{other} was never told")
        assert session.state == fold(log.values())
    assert len(told) > KILLS
