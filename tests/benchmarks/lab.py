"""A class of 200 hand-ins over the shipped exercises, made and marked, with the seconds that the marking takes.

Run from the checkout: python tests/benchmarks/lab.py
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.lab.shipped import set_exercise
from tests.lab.students import any_student
from wizard.lab.handin import write_handin

COUNT = 200
ALLOWED_S = 20.0


def _used_s() -> float:
    """Processor seconds of all processes started so far and ended: what a busy machine does not stretch."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Make the class, mark it by the command, print the seconds."""
    for names in (("first-clamp",), ("first-clamp", "burnt-isolator", "nothing-wrong", "hidden-strap")):
        with tempfile.TemporaryDirectory() as folder:
            for number in range(COUNT):
                exercise, desk = set_exercise(names[number % len(names)])
                student = any_student(exercise, desk, number, f"Student {number}")
                write_handin(student.hand_in(), Path(folder) / f"{number:03}.handin.json")
            began, used_s = time.perf_counter(), _used_s()
            command = [sys.executable, "-m", "wizard", "lab", "mark", folder, "--to", f"{folder}/marks.csv"]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            took_s, used_s = time.perf_counter() - began, _used_s() - used_s
        if done.returncode != 0:
            sys.exit(done.stderr)
        print(done.stdout)
        verdict = "within" if took_s < ALLOWED_S else "OVER"
        print(
            f"{COUNT} hand-ins of {len(names)} exercise(s): {took_s:.1f} s, {verdict} {ALLOWED_S:.0f} s; "
            f"processors {used_s:.1f} s"
        )


if __name__ == "__main__":
    main()
