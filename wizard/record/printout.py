"""A diagnosis as plain text for a person: what was read, what it means, what to do next."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from wizard.quantities import printable, show_against, show_amps, show_band, show_milliohms, show_minutes, show_volts
from wizard.record.names import Names
from wizard.walk.assessment import Assessment, Finding, JudgedReading, Next, Suspect
from wizard.walk.desk import Desk

JUDGED = {"within": "within the limit", "marginal": "marginal", "over": "over the limit", "not-judged": ""}
FLOOR_JUDGED = {"within": "enough", "marginal": "marginal", "over": "too low", "not-judged": ""}
# Suspects less likely than this, or behind so many others, are left out for a person; the JSON has them all.
_WORTH_SAYING = 0.01
# Excess below this says no more than that there is some.
_TELLS_MOHM = 0.1
_MOST_SUSPECTS = 6


def printout(title: str, desk: Desk, found: Assessment, width: int) -> str:
    """The whole answer as lines of at most `width` characters where words allow."""
    return "\n".join(_Printout(desk, found, width).lines(title)) + "\n"


class _Printout:
    def __init__(self, desk: Desk, found: Assessment, width: int) -> None:
        self.desk, self.names = desk, Names(desk.circuit)
        self.found = found
        self.width = width

    def lines(self, title: str) -> Iterator[str]:
        circuit = self.desk.circuit
        yield from self._wrapped(title)
        yield from self._wrapped(
            f"{circuit.map.title} ({circuit.map.circuit}), {circuit.system_v:g} V, {circuit.air_c:g} C"
        )
        yield from self._section("Readings", map(self._reading, self.found.readings), "none yet")
        yield from self._section("Suspects", self._suspects(), "none")
        if self.found.finding:
            yield from self._section("Finding", self._finding(self.found.finding))
        yield from self._section("Next", self._next(self.found.next))
        if self.found.warnings:
            yield from self._section("Look out", iter(self.found.warnings))
        yield from self._section("Cautions", map(self._caution, self._cautions()))
        yield ""
        yield from self._wrapped(self.desk.cautions.defer)

    def _wrapped(self, text: str, indent: str = "", hang: str = "") -> list[str]:
        return textwrap.wrap(
            printable(" ".join(text.split())),
            self.width,
            initial_indent=indent,
            subsequent_indent=indent + hang,
            break_on_hyphens=False,
        )

    def _section(self, heading: str, texts: Iterable[str], nothing: str = "") -> Iterator[str]:
        yield ""
        yield heading
        empty = True
        for text in texts:
            empty = False
            yield from self._wrapped(text, "  ", "  ")
        if empty and nothing:
            yield f"  {nothing}"

    def _reading(self, reading: JudgedReading) -> str:
        value, limit = value_and_limit(reading)
        said = f"{reading.id}. {reading.state}, {self.names.span(reading.red, reading.black, reading.clamp)}: {value}"
        facts: list[str] = []
        if reading.struck:
            facts.append("struck out")
        if reading.before_repair:
            facts.append("before the repair")
        if reading.acting_up:
            facts.append("while it failed")
        if judged := (FLOOR_JUDGED if reading.floor else JUDGED)[reading.judgement]:
            facts.append(judged.upper() if reading.judgement == "over" else judged)
        if limit:
            facts.append(f"{'at least' if reading.floor else 'limit'} {limit}")
        if reading.expected_v:
            facts.append(f"sound {show_band(*reading.expected_v)}")
        if reading.expected_a:
            facts.append(f"sound {reading.expected_a[0]:.0f} to {show_amps(reading.expected_a[1])}")
        if reading.in_doubt:
            facts.append("doubtful, take it again")
        return f"{said} ({', '.join(facts)})" if facts else said

    def _has_floor(self, step: Next) -> bool:
        """Whether the limit of this step is the least that must be there, not the most that may be lost."""
        limits, circuit = self.desk.limits, self.desk.circuit
        return bool(
            step.state and step.red and step.black and limits.floor_row(circuit, step.state, step.red, step.black)
        )

    def _suspects(self) -> Iterator[str]:
        worth = [suspect for suspect in self.found.suspects if suspect.probability >= _WORTH_SAYING]
        yield from map(self._suspect, worth[:_MOST_SUSPECTS])
        if len(worth) > _MOST_SUSPECTS:
            yield f"and {len(worth) - _MOST_SUSPECTS} more, each no likelier"

    def _suspect(self, suspect: Suspect) -> str:
        odds = "over 99 %" if suspect.probability > 0.99 else f"{100 * suspect.probability:.0f} %"
        said = f"{odds}: {self.names.part(suspect.part)}, {suspect.fault.replace('-', ' ')}"
        if suspect.excess_mohm and suspect.fault != "open":
            low, _, high = suspect.excess_mohm
            least, most = show_milliohms(low), show_milliohms(high)
            if least == most:
                # Too little to show in the digits it is told in.
                said += f", {least} too much" if high >= _TELLS_MOHM else ""
            elif most != "open":
                said += f", {least} to {most} too much"
            else:
                said += f", {least} or more too much" if low >= _TELLS_MOHM else ", how much is not known"
        return said

    def _finding(self, finding: Finding) -> Iterator[str]:
        yield finding.statement
        if finding.also is not None:
            yield finding.also
        shown = f" (shown by {_listed(finding.evidence)})" if finding.evidence else ""
        yield f"Repair: {self.names.repair(finding.repair)}{shown}"

    def _next(self, step: Next) -> Iterator[str]:
        match step.kind:
            case "ask":
                yield self._title(step)
                known = self.desk.flow.steps.get(step.step or "")
                for choice in step.choices or []:
                    yield f"- {choice}: {(known.choices.get(choice) if known else None) or self.names.part(choice)}"
            case "measure" | "prove":
                yield from self._measure(step)
            case "repair":
                yield f"Do the repair: {self.names.repair(step.repair or '')}"
            case "caution":
                yield self._title(step)
            case "finish":
                yield "You are done."
        yield step.why

    def _title(self, step: Next) -> str:
        known = self.desk.flow.steps.get(step.step or "")
        return f"{known.title}. {known.do}".strip() if known else step.step or ""

    def _measure(self, step: Next) -> Iterator[str]:
        again = "Measure again" if step.kind == "prove" else "Measure"
        state = "with start held" if step.state == "cranking" else "at rest"
        minutes = f", {show_minutes(step.minutes)}" if step.minutes else ""
        yield f"{again} {state}{minutes}:"
        points = self.desk.circuit.map.points
        for lead, point in (("Red", step.red), ("Black", step.black)):
            if point in points:
                yield f"{lead}: {points[point].label}, {points[point].probe}"
        if step.clamp:
            yield f"Clamp meter around: {self.names.part(step.clamp)}"
        if step.expected_v:
            limit = ""
            if step.limit_v is not None:
                asks = "asks for at least" if self._has_floor(step) else "allows"
                limit = f"; practice {asks} {show_volts(step.limit_v)}"
            yield f"A sound circuit reads {show_band(*step.expected_v)}{limit}."

    def _cautions(self) -> list[str]:
        """Those of the next step and of the finding, each once, in the file's order."""
        wanted = {*(self.found.next.cautions or []), *self.desk.cautions.for_deed()}
        if self.found.finding:
            wanted |= set(self.found.finding.cautions)
        return [name for name in self.desk.cautions.cautions if name in wanted]

    def _caution(self, name: str) -> str:
        caution = self.desk.cautions.cautions[name]
        return f"{caution.title}. {caution.text}"


def value_and_limit(reading: JudgedReading) -> tuple[str, str]:
    """What was read, and what it is judged by, with the decimals that tell them apart; nothing where there is no limit.

    Of several cranks the least and the most stand behind it.
    """
    limit = "" if reading.limit_v is None else show_volts(reading.limit_v)
    if reading.amps is not None:
        return show_amps(reading.amps), limit
    if reading.volts is None:
        return "open" if reading.open else "no value", limit
    value = show_volts(reading.volts)
    if reading.limit_v is not None:
        value, limit = show_against(reading.volts, reading.limit_v)
    return value + (f" ({show_band(*reading.range_v)})" if reading.range_v is not None else ""), limit


def _listed(numbers: list[int]) -> str:
    *others, last = map(str, sorted(numbers))
    return f"readings {', '.join(others)} and {last}" if others else f"reading {last}"
