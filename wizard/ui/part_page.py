"""One part of the circuit: what it is, what it should lose, what it does lose, and what is known about it."""

from __future__ import annotations

from textual.content import Content

from wizard.quantities import show_band, show_length, show_milliohms, show_volts
from wizard.ui.readings_page import reading_line
from wizard.walk.assessment import Assessment
from wizard.walk.desk import Desk
from wizard.walk.drawing import verdict
from wizard.walk.odds import odds_bar, odds_word


def part_text(desk: Desk, assessment: Assessment, name: str, *, inch: bool) -> Content:
    """All about a part of the map by its id, or about the starter's motor."""
    if name not in desk.circuit.parts:
        return _motor(desk, assessment)
    circuit = desk.circuit
    part = circuit.parts[name].part
    span = next((span for span in assessment.spans if span.part == name), None)
    made = [str(part.kind)]
    if part.length_m is not None and part.size is not None:
        made += [show_length(part.length_m, inch=inch), str(part.size), str(part.conductor).replace("-", " ")]
    lines = [
        _fact("What", ", ".join(made)),
        _fact("Side", f"{part.side} side"),
        _fact("Sound", f"about {show_milliohms(circuit.parts[name].ohm * 1e3)}"),
    ]
    if span is not None:
        lines.append(_fact("Expected", f"{show_band(*span.expected_v)} lost at this current"))
        limit = "practice gives none for it" if span.limit_v is None else f"practice allows {show_volts(span.limit_v)}"
        lines.append(_fact("Limit", limit))
        if span.lost_v is None:
            lines.append(_fact("Lost", "not measured yet"))
        else:
            told = " and ".join(str(number) for number in span.lost_by)
            said = verdict(span.judgement, span.meaning)
            how = "difference of readings" if len(span.lost_by) > 1 else "reading"
            lines.append(_fact("Lost", f"{show_volts(span.lost_v)}  {said.mark} {said.value}  ({how} {told})"))
    lines += _odds(assessment, name)
    work = circuit.repairs[part.repair]
    minutes = f", about {work.minutes:.0f} min" if work.minutes else ""
    lines.append(_fact("Repair", f"{work.label}{minutes}. {work.note}".strip()))
    lines.append(Content.styled("\nBetween these points", "bold"))
    for end in part.between:
        point = circuit.map.points[end]
        lines.append(Content(f"- {point.label}: {point.probe}"))
    return Content("\n").join([*lines, *_readings(assessment, set(part.between), name)])


def _motor(desk: Desk, assessment: Assessment) -> Content:
    starter = desk.circuit.map.starter
    low, typical, high = desk.circuit.demand_a
    lines = [
        _fact("What", "the starter's motor, between its own stud and its case"),
        _fact("Draws", f"{low:.0f} to {high:.0f} A on a sound engine, about {typical:.0f} A"),
        _fact("Held still", f"{starter.locked_rotor_a:.0f} A at {desk.circuit.system_v:g} V"),
        *_odds(assessment, "starter"),
    ]
    ends = {starter.positive, starter.negative}
    return Content("\n").join([*lines, *_readings(assessment, ends, "starter")])


def _odds(assessment: Assessment, name: str) -> list[Content]:
    found = [suspect for suspect in assessment.suspects if suspect.part == name]
    if not found:
        return [_fact("Odds", "hardly a suspect")]
    lines: list[Content] = []
    for suspect in found:
        odds = f"{odds_word(suspect.probability)}, {suspect.probability:.2f} {odds_bar(suspect.probability)}"
        fault = suspect.fault.replace("-", " ")
        excess = ""
        if suspect.excess_mohm is not None:
            low, _, high = suspect.excess_mohm
            most = show_milliohms(high)
            excess = f", {show_milliohms(low)} {'or more' if most == 'open' else f'to {most}'} too much"
        lines.append(_fact("Odds", f"{odds}  {fault}{excess}"))
    return lines


def _readings(assessment: Assessment, ends: set[str], name: str) -> list[Content]:
    near = [r for r in assessment.readings if r.clamp == name or {r.red, r.black} & ends]
    if not near:
        return []
    return [Content.styled("\nReadings at its ends", "bold"), *(reading_line(reading) for reading in near)]


def _fact(name: str, text: str) -> Content:
    return Content.assemble((f"{name:11}", "bold $primary"), text)
