"""A map with as many parts in a row as are wanted."""

from itertools import pairwise


def long_run(outward: int, back: int) -> str:
    """The map as its file says it: parts to the B stud, the contacts, parts back, and the trigger wire."""
    positive = ["post-plus", *(f"plus-{n}" for n in range(1, outward)), "b-stud"]
    ground = ["case", *(f"minus-{n}" for n in range(1, back)), "post-minus"]
    points = [*positive, "motor-stud", *ground, "trigger"]
    parts: list[tuple[str, str, str, str]] = []
    for side, along in (("positive", positive), ("ground", ground)):
        for number, (first, second) in enumerate(pairwise(along), 1):
            parts.append((f"{side}-part-{number}", side, first, second))
    lines = [
        "circuit: long-run",
        "title: A long run",
        "system_v: 12",
        "battery: {positive: post-plus, negative: post-minus, cca_a: 680}",
        "starter: {positive: motor-stud, negative: case, cranking_a: [120, 170, 250], locked_rotor_a: 520}",
        "solenoid: {contacts: contacts, coil: [trigger, case], pull_in_a: 40, hold_in_a: 11, pull_in_v: 7.5}",
        "points:",
        *(f"  {point}: {{label: {point.replace('-', ' ')}, probe: on bare metal}}" for point in points),
        "parts:",
        "  contacts: {label: contacts, kind: contacts, side: positive, between: [b-stud, motor-stud], repair: mend}",
        "  wire: {label: wire, kind: cable, side: control, between: [post-plus, trigger], length: 2 m, size: 6 mm2,"
        " repair: mend}",
    ]
    for name, side, first, second in parts:
        # A repair of its own for each part, or all of them would be one answer.
        lines.append(
            f"  {name}: {{label: {name.replace('-', ' ')}, kind: joint, side: {side}, between: [{first}, {second}],"
            f" repair: clean-{name}}}"
        )
    lines += ["repairs:", "  mend: {label: mend it, kind: replace, minutes: 30}"]
    lines += [
        f"  clean-{name}: {{label: clean {name.replace('-', ' ')}, kind: clean, minutes: 10}}" for name, *_ in parts
    ]
    return "\n".join(lines) + "\n"
