"""Every single fault of the shipped maps walked to its end: readings, minutes and the repair that was named.

Run with `python -m tests.benchmarks.single_faults [words]`; words pick faults whose label has one of them.
"""

import sys
import time

from tests.vehicles import desk, follow, single_faults
from wizard.circuit.load import Heard
from wizard.files.shelf import circuit_names

WORDS_OF_THE_CUSTOMER = {"as it sounds": None, "told as one click": Heard.ONE_CLICK}


def main() -> None:
    words = sys.argv[1:]
    for name in circuit_names():
        at = desk(name)
        for word, symptom in WORDS_OF_THE_CUSTOMER.items():
            for plan in ("walk", "fastest"):
                print(f"\n{name}, {plan}, complaint {word}")
                print(f"{'fault':<45}{'readings':>9}{'minutes':>9}  repair")
                began, rows, wrong = time.perf_counter(), [], 0
                for fault in single_faults(at.circuit):
                    if words and not any(word in fault.label for word in words):
                        continue
                    done = follow(at, fault, plan, symptom)
                    rows.append(done)
                    right = done.repair == fault.repair
                    wrong += not right
                    mark = "" if right else f"  WRONG: is {fault.repair}"
                    print(f"{fault.label:<45}{done.readings:>9}{done.minutes:>9.1f}  {done.repair}{mark}")
                if rows:
                    readings = [row.readings for row in rows]
                    print(
                        f"{len(rows)} vehicles, {wrong} wrong; readings mean {sum(readings) / len(rows):.2f}, most "
                        f"{max(readings)}; minutes mean {sum(row.minutes for row in rows) / len(rows):.1f}; "
                        f"took {time.perf_counter() - began:.1f} s"
                    )


if __name__ == "__main__":
    main()
