"""How many keys a job takes: run as `PYTHONPATH=.:tests/ui python tests/benchmarks/keys.py`.

Drives each demo from launch to its finding, for the walk and for the best next test, as someone does who types every
reading, and prints the presses: aim under 4 for each reading beyond its digits. The story's page and the cautions are
counted too.
"""

from __future__ import annotations

import asyncio
import tempfile
from dataclasses import dataclass
from pathlib import Path

from driven import Bay

from wizard.files.settings import Settings, Way
from wizard.record.store import Store
from wizard.ui.app import DropwalkApp
from wizard.ui.demos import demo_items
from wizard.ui.job import JobScreen
from wizard.ui.step_card import choices

_MOST_TURNS = 80


@dataclass
class Count:
    """Presses of keys that are part of a reading, and of all others."""

    digits: int = 0
    others: int = 0
    readings: int = 0


async def played(name: str, way: Way, folder: Path) -> tuple[Count, str]:
    """The presses from launch to the first finding, and what was found."""
    count = Count()
    with Store(folder / f"{name}-{way}.sqlite3") as store:
        app = DropwalkApp(store, name, Settings(plan=way, tour_seen=True))
        async with app.run_test(size=(80, 24)) as pilot:
            bay = Bay(app, pilot)
            await bay.settle()
            for _ in range(_MOST_TURNS):
                if not isinstance(app.screen, JobScreen):
                    # The story, cautions and questions are taken with Enter.
                    count.others += 1
                    await bay.press("enter")
                    continue
                assert bay.job.assessment is not None
                step = bay.job.assessment.next
                if step.kind in ("repair", "finish"):
                    return count, step.repair or step.why
                if (target := bay.job.target) is not None:
                    assert bay.job.bench is not None
                    text = bay.job.bench.read(target, same_crank=False)
                    count.digits += len(text)
                    count.others += 1
                    count.readings += 1
                    await bay.type(text)
                elif step.kind == "ask" and step.step is not None:
                    assert bay.job.bench is not None
                    wanted = bay.job.bench.answer(step.step)
                    offered = [choice for choice, _ in choices(bay.job.session.desk, step)]
                    count.others += 2
                    await bay.press(str(offered.index(wanted) + 1 if wanted in offered else len(offered)), "enter")
                else:
                    count.others += 1
                    await bay.press("enter")
    return count, "nothing in the turns allowed"


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        for item in demo_items():
            for way in Way:
                count, found = asyncio.run(played(item.id, way, Path(name)))
                each = count.others / max(1, count.readings)
                print(
                    f"{item.id:16} {way:8} readings {count.readings:2}  digits {count.digits:3}  other keys "
                    f"{count.others:2}  beyond the digits {each:.1f} for each reading (aim under 4)  {found[:40]}"
                )


if __name__ == "__main__":
    main()
