"""A finding in sentences: what was measured, what a sound circuit would have read, and why the rest is cleared."""

from __future__ import annotations

from wizard.circuit.heard import Heard
from wizard.circuit.limits import Limits
from wizard.circuit.map import Side
from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.faults import CHARGE
from wizard.diagnosis.finding import Shown, draws_too_little, drop_between, expected_band, failed_test, trusted
from wizard.diagnosis.prediction import SOURCE_V
from wizard.quantities import capitalised, show_against, show_amps, show_band, show_volts

# What loses less than this share of the battery's volts does not make it crank badly by itself. Common practice, no
# source.
_EXPLAINS = 0.03
# A second fault is spoken of at these odds.
_SECOND = 0.5
# One that is spread over a few places is told of where they have these odds together.
_PLACES, _SURELY = 4, 0.9


def statement(belief: Belief, limits: Limits, evidence: Shown) -> str:
    """What was measured, what a sound circuit would have read, and what the limit is."""
    circuit, site = belief.model.circuit, evidence.site
    numbers = " and ".join(str(number) for number in evidence.drop.numbers)
    reading = f"reading {numbers}" if len(evidence.drop.numbers) == 1 else f"readings {numbers}"
    if site.part in circuit.parts:
        label = capitalised(circuit.parts[site.part].part.label)
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
        allows = f" Practice allows {allowed}." if allowed else ""
        return first + sound + allows + _too_little(belief, evidence)
    return _family_statement(belief, limits, evidence, reading)


def _family_statement(belief: Belief, limits: Limits, evidence: Shown, reading: str) -> str:
    circuit, site, volts = belief.model.circuit, evidence.site, evidence.drop.volts
    value = show_volts(volts) if volts is not None and not evidence.drop.spans[0].clamp else ""
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
            amps = f"{'only ' if draws_too_little(belief) else ''}{_flows(belief)}"
            failed = failed_test(belief, site)
            why = "It failed its own test" if failed else "Its brushes or commutator lose the rest"
            return f"The motor gets {value} while start is held ({reading}) and draws {amps}. {why}."
        case "starter-shorted":
            return f"The motor draws {_flows(belief)} and gets {value} ({reading}): a winding is shorted."
        case "coil-open":
            return (
                "The trigger wire brings its volts and the solenoid does nothing: its coil is open " + f"({reading})."
            )
        case _:
            high = circuit.demand_a[2]
            who = "The starter drags" if site.part == "starter" else "The engine is hard to turn"
            return f"{who}: {_flows(belief)} flows where a healthy engine takes up to {show_amps(high)} ({reading})."


def _too_little(belief: Belief, evidence: Shown) -> str:
    """That what is lost is worth a repair and does not explain how badly it cranks; empty where it may."""
    told, circuit = belief.evidence, belief.model.circuit
    volts, source = evidence.drop.volts, SOURCE_V * circuit.scale
    power = circuit.parts[evidence.site.part].part.side is not Side.CONTROL
    badly = told.turns_well is False or (told.turns_well is None and told.symptom not in (None, Heard.CRANKS_NORMALLY))
    excess = 0.0 if volts is None else abs(volts) - sum(evidence.expected_v) / 2
    if not power or not badly or told.intermittent or not 0.0 < excess < _EXPLAINS * source:
        return ""
    return (
        f" That is {excess / source:.0%} of the battery's volts: worth the repair, and too little to explain it alone."
    )


def _flows(belief: Belief) -> str:
    """The starter's current: what a clamp showed, or what the drops come to."""
    parts = belief.model.circuit.parts
    clamped = [m.value for m in trusted(belief) if m.what.clamp and parts[m.what.clamp].part.side is Side.POSITIVE]
    return f"about {show_amps(clamped[-1] if clamped and clamped[-1] is not None else belief.current_a[0])}"


def second_fault(belief: Belief, repair: str, evidence: Shown) -> str | None:
    """Which other fault the readings point to beside a found one, and what each takes; None where none is likely."""
    model, middle = belief.model, belief.current_a[0]
    odds = belief.beside(repair)
    ranked = sorted(odds.items(), key=lambda pair: -pair[1])
    few = [model.sites[number].part for number, _ in ranked[:_PLACES]]
    if not ranked or ranked[0][1] < _SECOND:
        if sum(odds[number] for number, _ in ranked[:_PLACES]) < _SURELY or not {*few} <= {*model.circuit.parts}:
            return None
        where = ", ".join(f"the {model.circuit.parts[part].part.label}" for part in few)
        return f"A second fault is beside it, in one of these: {where}. Find out which before anything is bought."
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
    lost: list[str] = []
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
            limit, judgement = limits.judge(circuit, "cranking", *circuit.runs[run], drop.volts)
            said = f"{name} {'lose' if run == 'contacts' else 'loses'} {show_volts(drop.volts)}"
            if judgement != "over":
                (sound if judgement == "within" else near).append(said)
            elif (
                limit is not None and drop.volts > expected_band(belief, Observable("cranking", *circuit.runs[run]))[1]
            ):
                lost.append(f"{said} where practice allows {show_volts(limit)}")
    text = f" {capitalised(' and '.join(lost))}: that comes next." if lost and repair else ""
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
