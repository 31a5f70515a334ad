"""`dropwalk diagnose` as a process, beside the interpreter importing the libraries that it stands on.

Run with `python -m tests.benchmarks.process`. The two are run in turn, so that whatever else the machine does falls on
both. Aim: a ratio under 2.0.
"""

import os
import statistics
import subprocess
import sys
import time

from wizard.files.places import shipped

RUNS = 11
AIM = 2.0
BASELINE = "import numpy, pydantic, networkx, ruamel.yaml, click"
JOB = str(shipped("scenarios") / "horse-box.yaml")
COMMANDS = {
    f"python -c '{BASELINE}'": [sys.executable, "-c", BASELINE],
    "python -c pass": [sys.executable, "-c", "pass"],
    "dropwalk diagnose --json": [sys.executable, "-m", "wizard", "diagnose", JOB, "--json"],
    "dropwalk diagnose --json --plan fastest": [
        *(sys.executable, "-m", "wizard", "diagnose", JOB, "--json", "--plan", "fastest")
    ],
}


def seconds(command: list[str]) -> tuple[float, float]:
    """How long a process takes: on the clock, and of the processor's time."""
    before, began = os.times(), time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    took, after = time.perf_counter() - began, os.times()
    return took, after.children_user + after.children_system - before.children_user - before.children_system


def main() -> None:
    for command in COMMANDS.values():
        seconds(command)
    took: dict[str, list[tuple[float, float]]] = {name: [] for name in COMMANDS}
    for _ in range(RUNS):
        for name, command in COMMANDS.items():
            took[name].append(seconds(command))
    base = [statistics.median(column) for column in zip(*next(iter(took.values())), strict=True)]
    print(f"medians of {RUNS} runs each, in turn; ratios to the first line; aim under {AIM}")
    for name, runs in took.items():
        clock, cpu = (statistics.median(column) for column in zip(*runs, strict=True))
        print(
            f"{name:<75}{clock * 1e3:>6.0f} ms ({clock / base[0]:.2f})  "
            f"processor {cpu * 1e3:>6.0f} ms ({cpu / base[1]:.2f})"
        )


if __name__ == "__main__":
    main()
