"""Ten students at once on one machine: from a key to the repaint in a headless Chromium, in milliseconds.

Run from the checkout, with the extra `lab` and Chromium installed: python tests/benchmarks/serve.py
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.lab.browser import Tab, browser, served

STUDENTS, KEYS = 10, 12


async def play(tab: Tab, number: int) -> list[float]:
    """One student moves along the circuit and back, with a reading on the way."""
    await tab.keys(*f"S{number}", "Enter")
    await tab.settle()
    await tab.keys("Escape", "Escape")
    await tab.settle()
    took: list[float] = []
    for press in range(KEYS):
        took.append(await tab.key_to_repaint_ms("ArrowDown" if press % 4 < 2 else "ArrowUp"))
        await asyncio.sleep(0.4)
    await tab.keys("r", "ArrowDown", "b", "h")
    return took


async def main() -> None:
    """Serve, open the pages, play them all at once, print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        async with served("burnt-contacts", Path(folder)) as url:
            for students in (1, STUDENTS):
                async with browser(students) as tabs:
                    await asyncio.gather(*(tab.open(url) for tab in tabs))
                    took = sorted(ms for each in await asyncio.gather(*map(play, tabs, range(students))) for ms in each)
                print(
                    f"{students:>2} at once: key to repaint median {statistics.median(took):.0f} ms, "
                    f"95th percentile {took[int(0.95 * len(took))]:.0f} ms, worst {took[-1]:.0f} ms, {len(took)} keys"
                )


if __name__ == "__main__":
    asyncio.run(main())
