"""Before and after each repair: every span of its proof against what was said before it and what practice allows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from wizard.circuit.map import PartChange
from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.finding import Drop, expected_bands
from wizard.quantities import show_volts
from wizard.repair.predict import Foreseen, predict
from wizard.walk.assessment import Band, Judgement, Meaning
from wizard.walk.case import Case
from wizard.walk.judged import meaning_of
from wizard.walk.retest import (
    did_not_help,
    earlier_reads,
    helped_some,
    proof_spans,
    proved,
    reads,
    repaired_span,
    tells_v,
)
from wizard.walk.state import JobState

Against = Literal["as-predicted", "below", "above", "not-read", "not-foretold"]


@dataclass(frozen=True)
class SpanProof:
    """One span before and after a repair; volts, or amps for a clamp, and None where there is no such reading.

    `predicted` is what the belief before the repair said it would read after it, None where that was too wide to say
    anything. `sound` is a healthy circuit's band.
    `limit` is the most that may be lost, or for a `floor` the least that must be there. `numbers` are the readings
    after and `before_numbers` those before, `apart` and `before_apart` whether it is the difference of two, because
    nothing was read straight across. Readings tell no smaller a change than `tells_v`. `first` is what it read before
    an earlier repair, with that repair's number: the first before which it was read.
    """

    what: Observable
    before: float | None
    predicted: Foreseen | None
    after: float | None
    sound: Band
    limit: float | None
    floor: bool
    judgement: Judgement
    meaning: Meaning | None
    against: Against
    numbers: tuple[int, ...]
    apart: bool
    before_numbers: tuple[int, ...]
    before_apart: bool
    tells_v: float
    first: tuple[int, Drop] | None

    @property
    def won_back(self) -> float | None:
        """Volts fewer lost than before; for a floor, volts more there. None unless both were read.

        Below `tells_v`, either way, it may be nothing.
        """
        if self.before is None or self.after is None or self.what.clamp:
            return None
        return self.after - self.before if self.floor else self.before - self.after

    @property
    def margin_v(self) -> float | None:
        """Volts left up to the limit, or above the floor; below zero past it."""
        if self.limit is None or self.after is None:
            return None
        return self.after - self.limit if self.floor else self.limit - self.after

    @property
    def margin_times(self) -> float | None:
        """How many times the drop would fit into its limit; None for a floor and where nothing is lost."""
        if self.limit is None or self.after is None or self.floor or self.after < 0.005:
            return None
        return self.limit / self.after

    @property
    def unread(self) -> bool:
        """Whether nothing was read since the repair."""
        return not self.numbers

    @property
    def at_fault(self) -> bool:
        """Whether it is past its limit and not merely as sound parts of these sizes read; an open span is."""
        if self.judgement not in ("over", "marginal"):
            return False
        if self.floor and self.after is not None:
            return self.after < self.sound[0]
        return self.meaning != "too-small"


@dataclass(frozen=True)
class RepairProof:
    """A repair that was done, the `number`-th of the job.

    `helped` is False as soon as what it was meant to put right was read again and is not as it should be, though it
    may have won something back (`some`); until then it is None while a span of its proof is unread. `remains` says in
    words what is still lost and whether that is the length of the run or another fault.
    """

    number: int
    repair: str
    spans: tuple[SpanProof, ...]
    helped: bool | None
    some: bool
    remains: tuple[str, ...]


@dataclass(frozen=True)
class Foretold:
    """A span of a proof that is still to come and what it will read; no band where that would say nothing."""

    what: Observable
    band: Foreseen | None


def foresee_proof(case: Case, repair: str, fitted: Mapping[str, PartChange] | None = None) -> tuple[Foretold, ...]:
    """What the spans of its proof will read once a repair is done that has not been done yet.

    `fitted` are cables and straps that it will put in and that differ from what is there.
    """
    state = case.state
    done = replace(
        state,
        repairs=(*state.repairs, repair),
        fits=(*state.fits, dict(fitted or {})),
        repaired_on=(*state.repaired_on, None),
    )
    after = replace(case, state=done, before=case, taken=())
    return tuple(_foretell(case, done, proof_spans(after)))


def _foretell(before: Case, done: JobState, wanted: Sequence[Observable]) -> Iterator[Foretold]:
    belief = _belief_with(before, done)
    foreseen, sound = predict(belief, done.repairs[-1], wanted), expected_bands(belief, wanted)
    for band, healthy in zip(foreseen, sound, strict=True):
        yield Foretold(band.what, band if _says_something(before, band, healthy) else None)


def _says_something(case: Case, foreseen: Foreseen, sound: Band) -> bool:
    """Whether a band foretold is narrower than all that practice allows and a sound one's band together.

    A wider one holds sound readings and bad ones alike. What a clamp reads has no limit.
    """
    what, circuit, limits = foreseen.what, case.desk.circuit, case.desk.limits
    if what.clamp:
        return True
    limit, _ = limits.judge(circuit, what.state, what.red, what.black, None)
    if limit is None:
        return True
    floor = limits.floor_row(circuit, what.state, what.red, what.black) is not None
    allowed = max(0.0, sound[1] - limit) if floor else limit
    return foreseen.high - foreseen.low <= allowed + sound[1] - sound[0]


def _belief_with(before: Case, done: JobState) -> Belief:
    """What the readings before a repair come to, told of the circuit as the repair leaves it."""
    return Case.of(before.desk, before.state, done.fitted).belief if done.fits[-1] else before.belief


def repair_proofs(case: Case) -> tuple[RepairProof, ...]:
    """Every repair of the job in order, each with its proof."""
    return tuple(reversed([_proof(at, before) for at, before in _repaired(case)]))


def _repaired(case: Case) -> Iterator[tuple[Case, Case]]:
    """Each state of the circuit after a repair with the one before it, the latest first."""
    at = case
    while at.before is not None:
        yield at, at.before
        at = at.before


def _proof(case: Case, before: Case) -> RepairProof:
    repair = case.state.repairs[-1]
    wanted = proof_spans(case)
    foretold = _foretell(before, case.state, wanted)
    sound = expected_bands(case.belief, wanted)
    spans = tuple(_span(case, before, told, band) for told, band in zip(foretold, sound, strict=True))
    failed, unread = did_not_help(case), any(span.unread for span in spans)
    helped = None if unread and not failed else not failed and proved(case)
    remains = tuple(_remains(case, spans, failed=failed))
    return RepairProof(len(case.state.repairs), repair, spans, helped, failed and helped_some(case), remains)


def _span(case: Case, before: Case, foretold: Foretold, sound: Band) -> SpanProof:
    what, circuit, limits = foretold.what, case.desk.circuit, case.desk.limits
    was, now = reads(before, what), reads(case, what)
    after = now.volts
    limit: float | None = None
    judgement: Judgement = "not-judged"
    floor = False
    if not what.clamp:
        floor = limits.floor_row(circuit, what.state, what.red, what.black) is not None
        limit, judgement = limits.judge(circuit, what.state, what.red, what.black, after)
        if not now.numbers:
            judgement = "not-judged"
    against: Against = "not-read"
    if now.numbers and foretold.band is None:
        against = "not-foretold"
    elif now.numbers and after is None:
        against = "above"
    elif after is not None and foretold.band is not None:
        against = _against(foretold.band, after)
    return SpanProof(
        what,
        was.volts,
        foretold.band,
        after,
        sound,
        limit,
        floor,
        judgement,
        None if floor or after is None else meaning_of(case.belief, judgement, after, sound),
        against,
        now.numbers,
        len(now.spans) > 1,
        was.numbers,
        len(was.spans) > 1,
        tells_v(case, was.volts, after, floor=floor),
        next(((number + 1, drop) for number, drop in reversed(earlier_reads(before, what).items())), None),
    )


def _against(foreseen: Foreseen, after: float) -> Against:
    """A reading against the band as both are shown: in hundredths of a volt, or whole amps."""
    digits = 0 if foreseen.what.clamp else 2
    low, shown, high = (round(value, digits) for value in (foreseen.low, after, foreseen.high))
    return "as-predicted" if low <= shown <= high else "below" if shown < low else "above"


def _remains(case: Case, spans: Sequence[SpanProof], *, failed: bool) -> Iterator[str]:
    points, own = case.desk.circuit.map.points, repaired_span(case)
    for span in spans:
        if span.floor or span.what.clamp or span.limit is None or span.what.state != "cranking":
            continue
        name = f"from {points[span.what.red].label} to {points[span.what.black].label}"
        if span.after is None:
            if span.numbers:
                yield f"Still open {name}: the fault is not out of it."
            continue
        lost = f"{show_volts(span.after)} is still lost {name}"
        match span.meaning:
            case "too-small":
                yield f"{lost}, over the limit, yet as sound parts of this length and size: only larger cable helps."
            case "fault" if failed and own is not None and span.what == own[0]:
                yield f"{lost}, more than sound parts lose and over the limit: what was to be put right still is not."
            case "fault":
                yield f"{lost}, more than sound parts lose and over the limit: look for a second fault in it."
            case "watch":
                yield f"{lost}, within the limit but more than sound parts lose: a second fault may be starting in it."
            case _:
                pass
