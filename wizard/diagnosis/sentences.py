"""A finding in sentences: what was measured, what a sound circuit would have read, and why the rest is cleared."""

from __future__ import annotations

from wizard.circuit.limits import Limits
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.faults import CHARGE
from wizard.diagnosis.finding import Shown, draws_too_little, drop_between, failed_test, trusted
from wizard.quantities import capitalised, show_against, show_amps, show_band, show_volts

# A second fault is spoken of at these odds.
_SECOND = 0.5


def statement(belief: Belief, limits: Limits, evidence: Shown) -> str:
    """What was measured, what a sound circuit would have read, and what the limit is."""
    circuit, site = belief.model.circuit, evidence.site
    numbers = " and ".join(str(number) for number in evidence.drop.numbers)
    reading = f"reading {numbers}" if len(evidence.drop.numbers) == 1 else f"readings {numbers}"
    if site.part in circuit.parts:
        label = circuit.parts[site.part].part.label
        label = capitalised(label)
        limit, _ = limits.judge(circuit, "cranking", evidence.start, evidence.end, 0.0)
        volts = None if evidence.drop.volts is None else abs(evidence.drop.volts)
        lost = "" if volts is None else show_volts(volts)
        allowed = "" if limit is None else show_volts(limit)
        if volts is not None and limit is not None:
            lost, allowed = show_against(volts, limit)
        if evidence.drop.volts is None:
            first = f"{label}: open; the whole battery shows across it ({reading})."
        else:
            how = "the difference of " if len(evidence.drop.spans) > 1 else ""
            first = f"{label}: {lost} lost with start held ({how}{reading})."
        sound = f" A sound one would lose {show_band(*evidence.expected_v)} at this current."
        return first + sound + (f" Practice allows {allowed}." if allowed else "")
    return _family_statement(belief, limits, evidence, reading)


def _family_statement(belief: Belief, limits: Limits, evidence: Shown, reading: str) -> str:
    circuit, site, volts = belief.model.circuit, evidence.site, evidence.drop.volts
    value = show_volts(volts) if volts is not None and not evidence.drop.spans[0].clamp else ""
    middle, _ = belief.current_a
    match site.family:
        case "battery-discharged":
            floor, _ = limits.floor(circuit, "battery-resting")
            if CHARGE in belief.evidence.repairs:
                return f"The battery was charged and rests at {value} ({reading}): it does not hold its charge."
            rests = f"The battery rests at {value} ({reading}); {show_volts(floor)} or more is charged enough to test."
            loaded = drop_between(trusted(belief), evidence.start, evidence.end)
            if loaded is None or loaded.volts is None:
                return rests
            return f"{rests} Its posts fall to {show_volts(loaded.volts)} with start held."
        case "battery-worn":
            floor, _ = limits.floor(circuit, "battery-cranking")
            low, high = evidence.expected_v
            return (
                f"The battery's posts fall to {value} with start held ({reading}); a sound one holds "
                f"{show_band(low, high)} at this current and practice asks for {show_volts(floor)}."
            )
        case "starter-open":
            return f"The motor gets {value} while start is held ({reading}) and no current flows: it is open inside."
        case "starter-worn":
            amps = f"{'only ' if draws_too_little(belief) else ''}about {show_amps(middle)}"
            failed = failed_test(belief, site)
            why = "It failed its own test" if failed else "Its brushes or commutator lose the rest"
            return f"The motor gets {value} while start is held ({reading}) and draws {amps}. {why}."
        case "starter-shorted":
            return f"The motor draws about {show_amps(middle)} and gets {value} ({reading}): a winding is shorted."
        case "coil-open":
            return (
                "The trigger wire brings its volts and the solenoid does nothing: its coil is open " + f"({reading})."
            )
        case _:
            high = circuit.demand_a[2]
            who = "The starter drags" if site.part == "starter" else "The engine is hard to turn"
            return (
                f"{who}: about {show_amps(middle)} flows where a healthy engine takes up to {show_amps(high)} "
                f"({reading})."
            )


def second_fault(belief: Belief, repair: str, evidence: Shown) -> str | None:
    """Which other fault the readings point to beside a found one, and what each takes; None where none is likely."""
    model, middle = belief.model, belief.current_a[0]
    odds = belief.beside(repair)
    ranked = sorted(odds.items(), key=lambda pair: -pair[1])
    if not ranked or ranked[0][1] < _SECOND:
        return None
    number = ranked[0][0]
    site = model.sites[number]
    work = model.circuit.repairs[belief.repair_of(site)].label
    likely = f"A second fault is likely beside it ({min(ranked[0][1], 0.99):.0%})"
    if site.part not in model.circuit.parts:
        after = "Do this repair first: the readings after it show whether that is so"
        return f"{likely}: {site.part}, {site.fault}. {after}. Then: {work}."
    label = model.circuit.parts[site.part].part.label
    first = evidence.drop.volts
    excess = belief.excess_ohm(number)
    takes = (
        f" As far as the readings tell, it takes about {show_volts(excess[1] * middle)} too much"
        if excess and belief.open_share(number) < 0.5
        else ""
    )
    if takes and first is not None and evidence.site.part in model.circuit.parts:
        beyond = abs(first) - sum(evidence.expected_v) / 2
        takes += f", the {model.circuit.parts[evidence.site.part].part.label} about {show_volts(beyond)}"
    takes = f"{takes}." if takes else ""
    return f"{likely}: the {label}.{takes} Then: {work}."


def cleared(belief: Belief, limits: Limits, repair: str | None) -> str:
    """Why the rest is cleared: which runs, without the one of a repair, are within limits and which not measured."""
    circuit = belief.model.circuit
    measurements = trusted(belief)
    while_away = trusted(belief, away=True)
    own = {site.part for _, site in belief.sites_of(repair)} if repair else set[str]()
    sound: list[str] = []
    near: list[str] = []
    unseen: list[str] = []
    doubted: list[str] = []
    names = {
        "positive": "the positive side",
        "contacts": "the solenoid contacts",
        "ground": "the ground side",
    }
    for run, name in names.items():
        path = set(circuit.path(*circuit.runs[run]) or ())
        if path & own:
            continue
        drop = drop_between(measurements, *circuit.runs[run]) or drop_between(while_away, *circuit.runs[run])
        if drop is None:
            (doubted if _in_doubt(belief, *circuit.runs[run]) else unseen).append(name)
        elif drop.volts is not None:
            _, judgement = limits.judge(circuit, "cranking", *circuit.runs[run], drop.volts)
            if judgement != "over":
                lose = "lose" if run == "contacts" else "loses"
                own_limit = sound if judgement == "within" else near
                own_limit.append(f"{name} {lose} {show_volts(drop.volts)}")
    text = ""
    for losing, what in ((sound, "within limits"), (near, "just past what practice allows")):
        if losing:
            joined = " and ".join([", ".join(losing[:-1]), losing[-1]] if losing[1:] else losing)
            text += f" {capitalised(joined)}, {what}."
    for left, what in ((unseen, "Not measured"), (doubted, "In doubt")):
        if left:
            text += f" {what}: {', '.join(left)}."
    return text


def _in_doubt(belief: Belief, start: str, end: str) -> bool:
    return any(
        {m.what.red, m.what.black} == {start, end} and m.what.state == "cranking" and m.context == belief.now
        for m in belief.evidence.measurements
    )
