"""How long a job takes to be put on paper, by its readings and the form of the paper.

Run with `python -m tests.benchmarks.paper`. Aim: 300 readings as PDF, which of all forms takes longest, in under two
seconds of the processor. The baseline is the assessment that any screen of the same job takes.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from tests.record.test_report import compiled, long_job
from tests.vehicles import desk, forget
from wizard.record.report_files import render
from wizard.walk.state import fold
from wizard.walk.walker import assess

FORMS = (".html", ".md", ".pdf")


def busy_s(work: Callable[[], object]) -> float:
    """Seconds of the processor, the best of three: what else the machine does slows one of them down."""
    spent: list[float] = []
    for _ in range(3):
        forget(desk("remote-battery"))
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return min(spent)


def main() -> None:
    print(f"{'seconds of the processor':<44}{'assessed':>9}" + "".join(f"{form:>9}" for form in FORMS))
    for repaired in (False, True):
        for count in (12, 60, 300):
            log = long_job(count, repaired=repaired)
            seconds = [busy_s(lambda log=log: assess(desk("remote-battery"), fold(log)))]
            seconds += [busy_s(lambda log=log, form=form: render(*compiled(*log), form)) for form in FORMS]
            name = f"{count} readings, " + ("all different, one repair" if repaired else "repeats of six")
            print(f"{name:<44}" + "".join(f"{one:>9.2f}" for one in seconds))


if __name__ == "__main__":
    main()
