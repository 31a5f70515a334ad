"""The cable to fit: the smallest standard size that keeps the drop and stays cool while it cranks, with its ends.

The maker's figure for the vehicle and local rules come first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from wizard.circuit.circuit import Circuit, PassivePart
from wizard.circuit.conductors import Conductor, flexible_max_ohm, healthy_ohm, solid_ohm
from wizard.circuit.limits import Limits
from wizard.circuit.load import Condition, operate
from wizard.circuit.map import Kind, Place, Side
from wizard.circuit.network import Observable
from wizard.errors import DropwalkError
from wizard.quantities import Size

# What a cable may be made of when it is replaced; copper-clad aluminium is warned of and never offered.
OFFERED = (Conductor.COPPER, Conductor.TINNED_COPPER, Conductor.ALUMINIUM)
# Standard areas, IEC 60228, and gauges, ASTM B258, that battery and control cables are sold in.
METRIC = tuple(
    Size.parse(f"{area} mm2") for area in (0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240)
)
GAUGES = tuple(Size.parse(f"{gauge} AWG") for gauge in (18, 16, 14, 12, 10, 8, 6, 4, 2, 1, "1/0", "2/0", "3/0", "4/0"))
# IEC 60949 and IEC 60364-5-54 annex A, from memory: heat capacity in J/(K mm3), the reciprocal of the temperature
# coefficient at 0 C in K, and resistivity at 20 C in ohm mm. Copper-clad aluminium is taken as aluminium.
_HEAT: dict[Conductor, tuple[float, float, float]] = {
    Conductor.COPPER: (3.45e-3, 234.5, 17.241e-6),
    Conductor.TINNED_COPPER: (3.45e-3, 234.5, 17.241e-6),
    Conductor.ALUMINIUM: (2.5e-3, 228.0, 28.264e-6),
    Conductor.COPPER_CLAD_ALUMINIUM: (2.5e-3, 228.0, 28.264e-6),
}
# The longest crank that practice allows, US Army TM 10-3930-671-24; a starter that stands still is let go sooner
# (common practice, no source).
CRANK_S, STALL_S = 30.0, 5.0
# Highest temperature of a thermoplastic (PVC) insulated conductor in continuous use, IEC 60364-5-52, from memory.
INSULATION_C = 70.0
# Around a cable beside an engine and elsewhere when the vehicle is warm. Common practice, no source.
ENGINE_BAY_C, ELSEWHERE_C = 60.0, 40.0
# Clearance holes of the fine series, ISO 273, from memory: the ring that fits a stud, in mm.
RING_HOLES_MM = {"M5": 5.3, "M6": 6.4, "M8": 8.4, "M10": 10.5, "M12": 13.0}
# Ratings of bolted strip fuses for road vehicles in A, ISO 8820-5, from memory.
FUSE_RATINGS_A = (30, 40, 50, 60, 70, 80, 100, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450, 500)
COPPER_CLAD_WARNING = (
    "Check that the cable is not copper-clad aluminium: it is sold as battery cable, looks like copper, and of the "
    "same size loses about half as much again. Scrape a strand: silver inside means aluminium. Its ends also work "
    "loose sooner."
)


@dataclass(frozen=True)
class Duty:
    """What a cable has to carry, and where: amps for so long, one way over its length, with what may be lost.

    `stall_a` is what flows while the motor stands still, for the few seconds before start is let go. `today_a` flows
    in this vehicle as the readings tell, with the cable as cold as the air.
    """

    length_m: float
    current_a: float
    allowed_v: float
    stall_a: float = 0.0
    around_c: float = ELSEWHERE_C
    seconds: float = CRANK_S
    today_a: float | None = None
    air_c: float = 20.0


@dataclass(frozen=True)
class Candidate:
    """A size with what it comes to: volts lost at worst, hot and by the highest current, and how hot it then is.

    `keeps_drop` and `stays_cool` say whether both are allowed. `today_v` is what a meter would read across a sound one
    in this vehicle today, None where the current is not known.
    """

    size: Size
    conductor: Conductor
    drop_v: float
    end_c: float
    keeps_drop: bool
    stays_cool: bool
    today_v: float | None = None

    @property
    def fits(self) -> bool:
        return self.keeps_drop and self.stays_cool


@dataclass(frozen=True)
class Replacement:
    """The sizes to choose from for one cable or strap.

    `standard` is what the map has there and `fitted` this vehicle's own, both as sound ones would be; `lost_v` is what
    readings say is lost now, None where they do not tell. `choices` holds the smallest of each material, metric and
    gauge, that fits and conducts as well as the map's; `too_small` the next smaller one of each, to show why not.
    `fuse_a` is the smallest standard fuse for a run that has one, None for a run that has none. `ends` says what goes
    on each end where the map tells, and `advice` is in words too.
    """

    part: str
    duty: Duty
    standard: Candidate
    fitted: Candidate
    lost_v: float | None
    choices: tuple[Candidate, ...]
    too_small: tuple[Candidate, ...]
    fuse_a: int | None
    ends: tuple[str, ...]
    advice: tuple[str, ...]


def heated_c(conductor: Conductor, area_mm2: float, current_a: float, seconds: float, start_c: float) -> float:
    """Temperature in C after a current has flowed so long and no heat was lost.

    (I / S)^2 t = Qc (B + 20) / rho20 * ln((B + end) / (B + start)), the adiabatic equation of IEC 60949 and of IEC
    60364-5-54 annex A, solved for the end. Beyond what metal stands it is infinite.
    """
    heat, beta, rho = _HEAT[conductor]
    exponent = (current_a / area_mm2) ** 2 * seconds * rho / (heat * (beta + 20.0))
    return (beta + start_c) * math.exp(exponent) - beta if exponent < 20.0 else math.inf


def candidate(size: Size, conductor: Conductor, duty: Duty) -> Candidate:
    """One size under a duty. The drop is the highest of a sound flexible cable, at its temperature after the crank."""
    end_c = heated_c(conductor, size.area_mm2, duty.current_a, duty.seconds, duty.around_c)
    stalled_c = heated_c(conductor, size.area_mm2, duty.stall_a, STALL_S, duty.around_c)
    hottest = max(end_c, stalled_c)
    drop_v = duty.current_a * flexible_max_ohm(duty.length_m, size, conductor, min(end_c, 1000.0))
    today_v = None
    if duty.today_a is not None:
        today_v = duty.today_a * healthy_ohm(duty.length_m, size, conductor, duty.air_c)[0]
    # As finely as volts are ever shown.
    keeps_drop = round(drop_v, 4) <= round(duty.allowed_v, 4)
    return Candidate(size, conductor, drop_v, hottest, keeps_drop, hottest <= INSULATION_C, today_v)


def smallest(conductor: Conductor, duty: Duty, sizes: tuple[Size, ...]) -> tuple[Candidate | None, Candidate | None]:
    """The smallest of these rising sizes that fits, and the one below it; None where there is none."""
    below: Candidate | None = None
    for size in sizes:
        tried = candidate(size, conductor, duty)
        if tried.fits:
            return tried, below
        below = tried
    return None, below


def duty_of(
    circuit: Circuit,
    limits: Limits,
    part: str,
    allowed_v: float | None = None,
    motor_a: float | None = None,
) -> Duty:
    """The duty of a cable or strap in this vehicle, from its length, its share of the highest cranking current and what
    practice allows it to lose, unless `allowed_v` says otherwise. A control wire carries the coil and may lose what the
    control side's other parts leave. `motor_a` is the cranking current that readings tell of.

    Raises DropwalkError for a part that is no cable or strap, or whose length is not known.
    """
    passive = circuit.parts.get(part)
    if passive is None or passive.part.kind not in (Kind.CABLE, Kind.STRAP):
        raise DropwalkError(f"{part!r} is no cable or strap of this circuit; only these have a size to choose")
    length_m = passive.part.length_m
    if length_m is None:
        raise DropwalkError(f"the length of {part!r} is not known; give it under changes in the job")
    control = passive.part.side is Side.CONTROL
    if allowed_v is None:
        allowed_v = _left_for_wire(circuit, limits, part) if control else limits.allowance_v(circuit, part)
    if not allowed_v > 0:
        raise DropwalkError(f"{allowed_v:g} V can't be kept by any cable; allow more than 0 V")
    near_engine = any(
        circuit.map.points[point].place in (Place.ENGINE_BAY, Place.UNDER) for point in passive.part.between
    )
    around_c = max(ENGINE_BAY_C if near_engine else ELSEWHERE_C, circuit.air_c)
    if control:
        solenoid = circuit.map.solenoid
        held_a = solenoid.hold_in_a
        return Duty(
            length_m, held_a, allowed_v, solenoid.pull_in_a, around_c, CRANK_S, motor_a and held_a, circuit.air_c
        )
    share = _share(circuit, part)
    return Duty(
        length_m,
        share * circuit.demand_a[2],
        allowed_v,
        share * circuit.map.starter.locked_rotor_a,
        around_c,
        CRANK_S,
        None if motor_a is None else share * motor_a,
        circuit.air_c,
    )


def _share(circuit: Circuit, part: str) -> float:
    """Amps through a part for each that the motor takes, in a sound circuit: less than one beside another branch."""
    through = Observable("cranking", clamp=part)
    amps, _, motor_a = operate(circuit, Condition(demand_a=circuit.demand_a[1]), [through])
    return abs(float(amps[0])) / motor_a if motor_a > 0 else 1.0


def _left_for_wire(circuit: Circuit, limits: Limits, part: str) -> float:
    others = (name for name in circuit.path(*circuit.runs["control"], control=True) or () if name != part)
    left = limits.side_v(circuit, "control") - sum(limits.allowance_v(circuit, name) for name in others)
    return max(left, limits.allowance_v(circuit, part))


def replacement(
    circuit: Circuit,
    limits: Limits,
    part: str,
    *,
    lost_v: float | None = None,
    allowed_v: float | None = None,
    motor_a: float | None = None,
) -> Replacement:
    """What to fit in the place of a cable or strap, at least of the size that the map has there.

    `lost_v` is what readings say it loses now, `motor_a` the cranking current that they tell of.
    Raises DropwalkError as `duty_of`.
    """
    duty = duty_of(circuit, limits, part, allowed_v, motor_a)
    passive, mapped = circuit.parts[part], circuit.map.parts[part]
    fitted = _as_fitted(passive, duty)
    length_m = mapped.length_m or duty.length_m
    standard = candidate(mapped.size, mapped.conductor, replace(duty, length_m=length_m)) if mapped.size else fitted
    choices: list[Candidate] = []
    too_small: list[Candidate] = []
    for conductor in OFFERED:
        for series in (METRIC, GAUGES):
            least = _least_area(standard, conductor)
            sizes = tuple(size for size in series if size.area_mm2 >= 0.97 * least)
            fits, below = smallest(conductor, duty, sizes)
            if fits is not None:
                choices.append(fits)
            smaller = [size for size in series if fits is None or size.area_mm2 < fits.size.area_mm2]
            if below is not None or smaller:
                too_small.append(below or candidate(smaller[-1], conductor, duty))
    fuse_a = _fuse(circuit, passive)
    ends = tuple(_ends(circuit, passive))
    advice = _advice(choices, fuse_a, measure_studs=not ends)
    return Replacement(part, duty, standard, fitted, lost_v, tuple(choices), tuple(too_small), fuse_a, ends, advice)


@dataclass(frozen=True)
class Laid:
    """The smallest copper sizes that do for a new cable of a length: metric, and gauge; None where none is so large."""

    duty: Duty
    metric: Candidate | None
    gauge: Candidate | None


def laid_beside(
    circuit: Circuit, limits: Limits, part: str, lengths_m: tuple[float, ...], motor_a: float | None = None
) -> list[Laid]:
    """Sizes of a new cable beside a part of the circuit that has none of its own, for each length it may come to.

    It carries all that the part did, and may lose what practice allows a cable of that length.
    """
    found: list[Laid] = []
    for length_m in lengths_m:
        cable = circuit.map.parts[part].model_copy(
            update={"kind": Kind.CABLE, "length_m": length_m, "size": METRIC[-1], "resistance_mohm": None}
        )
        chart = circuit.map.model_copy(update={"parts": {**circuit.map.parts, part: cable}})
        others = {name: change for name, change in circuit.changes.parts.items() if name != part}
        changes = circuit.changes.model_copy(update={"parts": others})
        duty = duty_of(Circuit.of(chart, changes, circuit.air_c), limits, part, motor_a=motor_a)
        metric, gauge = (smallest(Conductor.COPPER, duty, series)[0] for series in (METRIC, GAUGES))
        found.append(Laid(duty, metric, gauge))
    return found


def _ends(circuit: Circuit, passive: PassivePart) -> Iterator[str]:
    for point, end in zip(passive.part.between, passive.part.ends or (), strict=False):
        what = f"a ring for {end}, hole {RING_HOLES_MM[end]:g} mm" if end in RING_HOLES_MM else "a clamp for the post"
        yield f"At {circuit.map.points[point].label}: {what}."


def _as_fitted(passive: PassivePart, duty: Duty) -> Candidate:
    """The vehicle's own cable; one that the map gives by its resistance has the copper area that this comes to."""
    size = passive.part.size
    if size is None:
        area = solid_ohm(duty.length_m, Size("1 mm2", 1.0), passive.part.conductor, 20.0) / passive.ohm
        size = Size(f"{area:.3g} mm2", area)
    return candidate(size, passive.part.conductor, duty)


def _least_area(standard: Candidate, conductor: Conductor) -> float:
    """Area in mm2 of this material that conducts as well as what the maker fitted."""
    own, other = (_HEAT[metal][2] for metal in (standard.conductor, conductor))
    return standard.size.area_mm2 * max(1.0, other / own)


def _fuse(circuit: Circuit, passive: PassivePart) -> int | None:
    """The smallest standard fuse that carries the crank, where the cable's run has one."""
    for run, (start, end) in circuit.runs.items():
        path = circuit.path(start, end, control=run == "control") or ()
        if passive.name in path and any(circuit.parts[name].part.kind is Kind.FUSE for name in path):
            carried = circuit.map.solenoid.pull_in_a if run == "control" else circuit.demand_a[2]
            return next((rating for rating in FUSE_RATINGS_A if rating >= carried), None)
    return None


def _advice(choices: list[Candidate], fuse_a: int | None, *, measure_studs: bool) -> tuple[str, ...]:
    rings = ", ".join(f"{stud}: {hole:g} mm" for stud, hole in RING_HOLES_MM.items())
    hole = f"the ring's hole must fit it closely ({rings})" if measure_studs else "this vehicle's may differ"
    told = [
        "The maker's size wins where it is larger. Measure the way the cable will really lie and leave slack for the "
        "engine's movement.",
        f"Measure the stud before you buy lugs: {hole}, and the barrel must fit the cable. Crimp with the die that "
        "the lug's maker names, then shrink a sleeve with glue over it.",
        COPPER_CLAD_WARNING,
    ]
    if any(choice.conductor is Conductor.ALUMINIUM for choice in choices):
        told.append(
            "Aluminium needs lugs made for it and a jointing compound; bare aluminium under a copper lug corrodes."
        )
    if fuse_a is not None:
        told.append(
            f"The run has a fuse: the smallest standard one that carries the crank is {fuse_a} A. Fit the rating that "
            "the maker names, close to the battery; never leave it out."
        )
    if not choices:
        told.append("No standard size fits: shorten the run, lay two cables side by side, or allow more volts.")
    return tuple(told)
