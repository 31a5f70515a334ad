"""The bench: a simulated vehicle over time with a meter on it, on which everything that goes wrong can be done.

Time is passed in. Everything drawn by chance comes from the exercise, the attempt's seed and the number of the deed,
so the same deeds give the same readings again.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import networkx
import numpy as np
from numpy.random import Generator

from wizard.circuit.heard import Heard
from wizard.circuit.load import Condition, operate
from wizard.circuit.network import COIL, MOTOR, OPEN_OHM, Observable, healthy_ohms
from wizard.lab.deeds import Deed, GroundLead, Line, Listened, Probed, Repaired, Rested, Touched, Warmed
from wizard.lab.exercise import Exercise
from wizard.lab.meter import LEADS_OHM, OVER, TEST_A, display
from wizard.lab.scenario import HiddenFault, PartFault, repairs_for
from wizard.lab.vehicle import CRANK_CHANGE, answer_at, health, tolerances
from wizard.walk.desk import Desk
from wizard.walk.events import CautionsRead

# A battery's slow resistance over its quick one, the seconds in which it builds up under load, and in which it goes;
# its ampere hours over its cold cranking amps. Common practice, no source.
_SLOW_OHM_RATIO, _SAG_S, _RECOVER_S, _AH_PER_CCA = 0.35, 15.0, 60.0, 0.11
# Volts that a 12 V battery's rest volts lose from full to empty. US Army TM 5-3805-262-20.
_FULL_TO_EMPTY_V = 0.9
# Copper's resistance by the kelvin. IEC 60028.
_COPPER_PER_K = 0.00393
# Kelvin per second that a starter's winding gains at 300 A, and the seconds in which it cools. Common practice.
_WARMING_K_PER_S, _WARMING_A, _COOLING_S = 4.0, 300.0, 300.0
# Seconds in which a hot engine space cools, and its heat above which a fault that heat moves acts up.
_ENGINE_COOLS_S, _HOT = 2400.0, 0.5
# No longer than this, then a rest. US Army TM 10-3930-671-24 and TM 5-3805-290-23-1.
LONGEST_CRANK_S, REST_S = 30.0, 120.0
# Seconds of a crank over which its current is taken as steady.
_STEP_S = 5.0
# Above this the winding's insulation suffers. Common practice, no source.
_TOO_HOT_K = 120.0
# Volts between the leads above which ohms mean nothing.
_LIVE_V = 0.02
# A lead that touches nothing shows a few thousandths of a volt that drift.
_STRAY_V = 0.004

Slip = Literal[
    "ohms-live", "lead-open", "no-load", "over-range", "cranked-too-long", "no-rest", "starter-hot", "cautions-unread"
]
# What each mistake would have cost, told after the attempt.
COSTS: dict[Slip, str] = {
    "ohms-live": "Ohms on a live circuit: the figure means nothing, and a real meter can be damaged. Take the ground "
    "lead off first; and even then ohms do not find a joint that only fails under load.",
    "lead-open": "A lead was on nothing: the meter showed stray volts, and zero would have looked like a good joint.",
    "no-load": "A drop was read with start not held: no current, no drop. Any joint looks sound that way.",
    "over-range": "The range was too small and the meter showed OL: a reading lost, and a crank with it.",
    "cranked-too-long": "Cranked longer than 30 s: the starter overheats and the battery sags into the next readings.",
    "no-rest": "Cranked on without the rest that a long crank asks for: heat in the starter adds up.",
    "starter-hot": "The starter's winding got so hot that it would have suffered: a starter to pay for.",
    "cautions-unread": "Cranked before the cautions were read: the engine could have fired, or caught someone.",
}


@dataclass(frozen=True)
class Wear:
    """How the vehicle stands after what was done to it; `at_s` is when."""

    at_s: float = 0.0
    sag_v: float = 0.0
    used_ah: float = 0.0
    hot_k: float = 0.0
    engine_heat: float = 0.0

    def later(self, at_s: float) -> Wear:
        """The same after it was left alone until then."""
        passed = max(0.0, at_s - self.at_s)
        return replace(
            self,
            at_s=max(at_s, self.at_s),
            sag_v=self.sag_v * math.exp(-passed / _RECOVER_S),
            hot_k=self.hot_k * math.exp(-passed / _COOLING_S),
            engine_heat=self.engine_heat * math.exp(-passed / _ENGINE_COOLS_S),
        )


class Bench:
    """One attempt at one exercise. `do` takes what is done and gives it back with what came of it."""

    def __init__(self, exercise: Exercise, desk: Desk, seed: int, *, noise: bool = True) -> None:
        self.exercise = exercise
        self.desk = desk
        self.seed = seed
        self.noise = noise
        self.wear = Wear()
        self.hidden: tuple[HiddenFault, ...] = tuple(exercise.hidden)
        self.slips: list[tuple[int, Slip]] = []  # with the number of the deed
        self.failing: set[int] = set()
        self.cranks = 0
        self.heard: Heard | None = None
        self.ground_lead_on = True
        self._rested_s = 0.0
        self._deeds = 0
        self._moved: set[str] = set()
        self._cautions: set[str] = set()
        self._since_rest_s = 0.0
        self._last_crank_s = -math.inf
        self._sound_ohm = tolerances(exercise, desk.circuit)
        self._condition = self._now(0.0)

    @classmethod
    def replay(cls, exercise: Exercise, desk: Desk, seed: int, lines: Iterable[Line]) -> Bench:
        """The bench after all these deeds; on a board the readings stay as they were typed."""
        bench = cls(exercise, desk, seed)
        for line in lines:
            bench.do(line.deed, line.at_s)
        return bench

    @property
    def condition(self) -> Condition:
        """The vehicle's state of health at the last reading or crank."""
        return self._condition

    def do(self, deed: Deed, at_s: float) -> Deed:
        """Do this at that second; the deed comes back with what was shown or heard.

        Raises KeyError for a point, part or range that is not there.
        """
        self._deeds += 1
        now_s = at_s + self._rested_s
        self.wear = self.wear.later(now_s)
        match deed:
            case Probed():
                return self._probe(deed)
            case Listened():
                self._hold(deed.held_s)
                return deed if self.exercise.board else deed.model_copy(update={"heard": str(self.heard)})
            case Rested():
                self._rested_s += 60.0 * deed.minutes
                self.wear = self.wear.later(now_s + 60.0 * deed.minutes)
            case Touched():
                for fault in self.hidden:
                    ends = self.desk.circuit.parts[fault.part].part.between if isinstance(fault, PartFault) else ()
                    if isinstance(fault, PartFault) and fault.moved_by == "touch" and deed.point in ends:
                        self._moved ^= {fault.part}
            case Warmed():
                self.wear = replace(self.wear, engine_heat=1.0)
            case GroundLead():
                self.ground_lead_on = deed.on
            case CautionsRead():
                self._cautions |= set(deed.cautions)
            case Repaired():
                chart = self.desk.circuit.map
                self.hidden = tuple(f for f in self.hidden if deed.repair not in repairs_for(f, chart))
            case _:
                pass
        return deed

    def true(self, what: Observable) -> float:
        """What a perfect meter reads in this moment's state of health, in V or A."""
        return float(operate(self.desk.circuit, self._condition, [what])[0][0])

    def answer(self, step: str) -> str:
        """The choice that looking or listening gives at a step that asks; it is heard in a crank of its own."""
        heard = operate(self.desk.circuit, self._now(0.0), [])[1]
        return answer_at(self.exercise, self.hidden, heard, step, self.desk.flow.steps[step])

    # --- one deed ------------------------------------------------------------------------------------------------

    def _probe(self, deed: Probed) -> Probed:
        if deed.held_s > 0:
            self._hold(deed.held_s)
            deed = deed.model_copy(update={"crank": self.cranks})
        else:
            self._condition = self._now(0.0)
        shown = self._shown(deed)
        self._watch(deed, deed.shown if self.exercise.board else shown)
        return deed if self.exercise.board else deed.model_copy(update={"shown": shown})

    def _shown(self, deed: Probed) -> str:
        meter = self.desk.priors.meter
        chance = self._chance(1) if self.noise else None
        if deed.function == "clamp":
            true = self.true(deed.what) if deed.clamp else 0.0
            return display(deed.setting, true, meter, chance)
        if not (deed.red and deed.black):
            if deed.function == "ohms":
                return OVER
            return display(deed.setting, _STRAY_V * float(self._chance(2).standard_normal()), meter, None)
        volts = self.true(deed.what)
        if deed.function == "ohms":
            # The meter divides whatever volts it finds by the current that it sends itself.
            return display(deed.setting, self._between_ohm(deed.red, deed.black) + volts / TEST_A, meter, chance)
        return display(deed.setting, volts, meter, chance)

    def _between_ohm(self, red: str, black: str) -> float:
        """Resistance from point to point with nothing switched on, the leads' own included; inf for no way."""
        circuit = self.desk.circuit
        ohms = {**healthy_ohms(circuit), **self._condition.ohm}
        ohms[MOTOR] *= self._condition.rotor_ratio
        ohms[COIL] = circuit.pull_in_ohm if self._condition.coil_works else OPEN_OHM
        for part, excess in self._condition.excess_ohm.items():
            ohms[part] += min(excess, OPEN_OHM)
        ends = {name: passive.part.between for name, passive in circuit.parts.items()}
        ends[MOTOR] = circuit.map.starter.positive, circuit.map.starter.negative
        ends[COIL] = circuit.map.solenoid.coil
        if self.ground_lead_on:
            ends["battery"] = circuit.map.battery.positive, circuit.map.battery.negative
        graph: networkx.MultiGraph[str] = networkx.MultiGraph()
        graph.add_nodes_from([red, black])
        for name, (first, second) in ends.items():
            if name not in circuit.open_at_rest() and ohms[name] < OPEN_OHM:
                graph.add_edge(first, second, ohm=ohms[name])
        if red == black:
            return LEADS_OHM
        tied = networkx.node_connected_component(graph, red)
        if black not in tied:
            return math.inf
        joined = graph.subgraph(tied)
        ohm = networkx.resistance_distance(joined, red, black, weight="ohm", invert_weight=True)
        assert isinstance(ohm, float)
        return LEADS_OHM + ohm

    def _watch(self, deed: Probed, shown: str) -> None:
        """Note what would have cost something on a real vehicle."""
        if deed.function == "ohms":
            if deed.red and deed.black and (self.ground_lead_on or abs(self.true(deed.what)) > _LIVE_V):
                self._slip("ohms-live")
        elif deed.function == "clamp":
            if not deed.clamp:
                self._slip("lead-open")
            elif deed.held_s == 0:
                self._slip("no-load")
        elif not (deed.red and deed.black):
            self._slip("lead-open")
        elif deed.held_s == 0:
            posts = {self.desk.circuit.map.battery.positive, self.desk.circuit.map.battery.negative}
            if {deed.red, deed.black} != posts and abs(self.true(deed.what)) < _LIVE_V:
                self._slip("no-load")
        if shown == OVER and deed.function != "ohms":
            self._slip("over-range")

    def _hold(self, seconds: float) -> None:
        """Hold start so long; the vehicle's state of health at the end of it is what a reading then sees."""
        circuit = self.desk.circuit
        self.cranks += 1
        needed = set(self.desk.flow.steps[self.desk.flow.start].cautions)
        if not needed <= self._cautions:
            self._slip("cautions-unread")
        if self._since_rest_s > LONGEST_CRANK_S and self.wear.at_s - self._last_crank_s < REST_S:
            self._slip("no-rest")
        if self.wear.at_s - self._last_crank_s >= REST_S:
            self._since_rest_s = 0.0
        change = CRANK_CHANGE * float(self._chance(0).standard_normal()) if self.noise else 0.0
        # A few steps, for a starter that heats and a battery that sags change the current that does it.
        steps = max(1, math.ceil(seconds / _STEP_S))
        for _ in range(steps):
            condition = self._now(change)
            _, _, amps = operate(circuit, condition, [])
            self._wear_on(condition, amps, seconds / steps)
        self._condition = self._now(change)
        self.heard = operate(circuit, self._condition, [])[1]
        if self.heard is not Heard.CRANKS_NORMALLY:
            self.failing.add(self.cranks)
        self._since_rest_s += seconds
        if seconds > LONGEST_CRANK_S:
            self._slip("cranked-too-long")
        if self.wear.hot_k > _TOO_HOT_K:
            self._slip("starter-hot")
        self._last_crank_s = self.wear.at_s

    def _wear_on(self, condition: Condition, amps: float, seconds: float) -> None:
        circuit = self.desk.circuit
        ohm = circuit.battery_ohm if condition.battery_ohm is None else condition.battery_ohm
        sag_v = amps * ohm * _SLOW_OHM_RATIO
        wear = self.wear
        cools = math.exp(-seconds / _COOLING_S)
        gained = _WARMING_K_PER_S * (amps / _WARMING_A) ** 2 * _COOLING_S * (1.0 - cools)
        self.wear = replace(
            wear,
            at_s=wear.at_s + seconds,
            sag_v=sag_v + (wear.sag_v - sag_v) * math.exp(-seconds / _SAG_S),
            used_ah=wear.used_ah + amps * seconds / 3600.0,
            hot_k=wear.hot_k * cools + gained,
        )

    def _now(self, change: float) -> Condition:
        """The state of health as it is now; `change` is this crank's share above or below the usual current."""
        circuit, wear = self.desk.circuit, self.wear
        lot = self._chance(3).random()
        condition = health(
            self.exercise,
            circuit,
            self.hidden,
            self._sound_ohm,
            lambda fault: self._acts_up(fault, lot),
        )
        cca = circuit.changes.cca_a or circuit.map.battery.cca_a
        lost_v = wear.sag_v + _FULL_TO_EMPTY_V * circuit.scale * wear.used_ah / (_AH_PER_CCA * cca)
        excess = dict(condition.excess_ohm)
        if not self.ground_lead_on:
            post = circuit.map.battery.negative
            excess |= {name: np.inf for name, p in circuit.parts.items() if post in p.part.between}
        return replace(
            condition,
            excess_ohm=excess,
            source_v=max(0.1, condition.source_v - lost_v),
            demand_a=condition.demand_a * (1.0 + change),
            rotor_ratio=condition.rotor_ratio * (1.0 + _COPPER_PER_K * wear.hot_k),
        )

    def _acts_up(self, fault: PartFault, lot: float) -> bool:
        if fault.moved_by == "heat":
            return self.wear.engine_heat > _HOT
        here = lot < self.exercise.acting_up
        return here != (fault.part in self._moved)

    def _chance(self, use: int) -> Generator:
        """A generator of its own for each deed and use, so that nothing before it can shift what it draws."""
        return np.random.default_rng([self.seed, self._deeds, use])

    def _slip(self, slip: Slip) -> None:
        if (self._deeds, slip) not in self.slips:
            self.slips.append((self._deeds, slip))
