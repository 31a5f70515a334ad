"""Nodal analysis against a worked example, networkx, ngspice and itself."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import networkx
import numpy as np
import pytest

from wizard.circuit.circuit import Circuit
from wizard.circuit.network import (
    BATTERY,
    COIL,
    EMF,
    MOTOR,
    OPEN_OHM,
    PULLING,
    SOURCE,
    Altered,
    Network,
    Observable,
    StartHeld,
    healthy_ohms,
    sides_at_rest,
)

SOURCE_V = 12.6


def ends(circuit: Circuit) -> dict[str, tuple[str, str]]:
    return {
        **{name: passive.part.between for name, passive in circuit.parts.items()},
        MOTOR: (circuit.map.starter.positive, circuit.map.starter.negative),
        COIL: circuit.map.solenoid.coil,
        PULLING: (circuit.map.solenoid.coil[0], circuit.map.starter.positive),
    }


def faulty(circuit: Circuit, seed: int) -> dict[str, float]:
    """Resistances with the coil held in, each part off by a factor, and one to three parts bad or open."""
    chance = np.random.default_rng(seed)
    ohms = {**healthy_ohms(circuit), COIL: circuit.hold_in_ohm, PULLING: circuit.pulling_ohm}
    for name in circuit.parts:
        ohms[name] *= float(chance.uniform(0.5, 2.0))
    for name in chance.choice(list(circuit.parts), size=int(chance.integers(1, 4)), replace=False):
        ohms[str(name)] += OPEN_OHM if chance.random() < 0.3 else float(10.0 ** chance.uniform(-4, 0))
    return ohms


def test_the_series_example(front: Circuit) -> None:
    # US Army correspondence course IT0334: 200 V on 50, 15 and 35 ohm in series: 2 A; 100, 30, 70 V.
    nothing = dict.fromkeys(front.main_loop, 1e-9)
    ohms = {**nothing, "positive-cable": 50.0, MOTOR: 15.0, "ground-cable": 35.0, BATTERY: 1e-9}
    network = Network(front, ohms)
    rows = network.rows(
        [
            Observable("cranking", clamp="positive-cable"),
            Observable("cranking", "positive-clamp-body", "starter-lug"),
            Observable("cranking", "motor-stud", "starter-case"),
            Observable("cranking", "ground-cable-block-lug", "negative-clamp-body"),
        ]
    )
    assert rows.source * 200.0 == pytest.approx([2.0, 100.0, 30.0, 70.0], rel=1e-5)


@pytest.mark.parametrize("seed", range(6))
def test_the_current_is_that_of_the_effective_resistance(circuit: Circuit, seed: int) -> None:
    """networkx.resistance_distance between the posts, over any network with its parallel ways."""
    ohms = faulty(circuit, seed)
    graph: networkx.MultiGraph[str] = networkx.MultiGraph()
    for name, (first, second) in ends(circuit).items():
        graph.add_edge(first, second, ohm=ohms[name])
    posts = circuit.map.battery.positive, circuit.map.battery.negative
    effective = networkx.resistance_distance(graph, *posts, weight="ohm", invert_weight=True)
    network = Network(circuit, ohms)
    assert network.source_a[network.index[BATTERY]] == pytest.approx(1.0 / (ohms[BATTERY] + effective), rel=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_the_ground_sides_drop_is_that_of_its_effective_resistance(circuit: Circuit, seed: int) -> None:
    """networkx.resistance_distance over the ground side alone: all the current comes back through it."""
    ohms = faulty(circuit, seed)
    graph: networkx.MultiGraph[str] = networkx.MultiGraph()
    for name, passive in circuit.parts.items():
        if passive.part.side == "ground":
            graph.add_edge(*passive.part.between, ohm=ohms[name])
    start, end = circuit.runs["ground"]
    effective = networkx.resistance_distance(graph, start, end, weight="ohm", invert_weight=True)
    network = Network(circuit, ohms)
    drop = network.rows([Observable("cranking", start, end)]).source[0]
    assert drop == pytest.approx(effective * network.source_a[network.index[BATTERY]], rel=1e-6)


def spice_volts(circuit: Circuit, ohms: dict[str, float], emf_v: float, folder: Path) -> dict[str, float]:
    """The same network's operating point by ngspice; the motor's back-EMF is a source in its branch."""
    negative = circuit.map.battery.negative
    node = {name: f"n{number}" for number, name in enumerate(circuit.points)} | {negative: "0"}
    lines = [
        "start held",
        f"vbattery source 0 {SOURCE_V}",
        f"rbattery source {node[circuit.map.battery.positive]} {ohms[BATTERY]!r}",
    ]
    for number, (name, (first, second)) in enumerate(ends(circuit).items()):
        if name == MOTOR:
            lines += [f"r{number} {node[first]} emf {ohms[name]!r}", f"vemf emf {node[second]} {emf_v}"]
        elif name in ohms:
            lines.append(f"r{number} {node[first]} {node[second]} {ohms[name]!r}")
    wanted = [name for name in circuit.points if name != negative]
    prints = [f"print v({node[name]})" for name in wanted]
    lines += [
        ".options reltol=1e-9 gmin=1e-15",
        ".control",
        "set numdgt=12",
        "op",
        *prints,
        "quit",
        ".endc",
        ".end",
    ]
    netlist = folder / "start.cir"
    netlist.write_text("\n".join(lines) + "\n")
    done = subprocess.run(["ngspice", "-b", str(netlist)], capture_output=True, text=True, timeout=60, check=False)
    shown = dict(line.split(" = ") for line in done.stdout.splitlines() if line.startswith("v(n"))
    return {name: float(shown[f"v({node[name]})"]) for name in wanted} | {negative: 0.0}


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed (Debian package ngspice)")
@pytest.mark.parametrize("emf_v", [0.0, 6.5])
@pytest.mark.parametrize("seed", range(4))
def test_every_node_agrees_with_ngspice(circuit: Circuit, seed: int, emf_v: float, tmp_path: Path) -> None:
    ohms = faulty(circuit, seed)
    spice = spice_volts(circuit, ohms, emf_v, tmp_path)
    network = Network(circuit, ohms)
    posts = [Observable("cranking", point, circuit.map.battery.negative) for point in circuit.points]
    rows = network.rows(posts)
    ours = rows.source * SOURCE_V + rows.opposing[:, network.index[MOTOR]] * emf_v
    assert ours == pytest.approx([spice[point] for point in circuit.points], abs=2e-6)


@pytest.mark.parametrize("seed", range(4))
def test_adding_resistance_is_the_same_as_solving_anew(circuit: Circuit, seed: int) -> None:
    """Two branches at once, from a tenth of a milliohm to a break."""
    chance = np.random.default_rng(seed)
    base = faulty(circuit, seed)
    network = Network(circuit, base)
    branch = np.array([chance.choice(len(network.branches), size=2, replace=False) for _ in range(12)], dtype=np.intp)
    added = 10.0 ** chance.uniform(-4.0, 4.0, size=(12, 2))
    observables = [Observable("cranking", point, circuit.map.battery.negative) for point in circuit.points]
    observables += [Observable("cranking", clamp=name) for name in circuit.parts]
    altered = Altered(network, branch, added)
    per_source, per_emf = (altered.answer(network.rows(observables), drive) for drive in (SOURCE, EMF))
    for number in range(len(branch)):
        ohms = dict(base)
        for which in range(2):
            ohms[network.branches[branch[number, which]]] += added[number, which]
        anew = Network(circuit, ohms)
        rows = anew.rows(observables)
        assert per_source[:, number] == pytest.approx(rows.source, rel=1e-5, abs=1e-6)
        assert per_emf[:, number] == pytest.approx(rows.opposing[:, anew.index[MOTOR]], rel=1e-5, abs=1e-6)


def test_every_open_part_still_gives_an_answer(circuit: Circuit) -> None:
    for name in circuit.parts:
        ohms = healthy_ohms(circuit)
        ohms[name] += OPEN_OHM
        for network in (StartHeld.of(circuit, ohms).pulling, StartHeld.of(circuit, ohms).closed):
            assert np.isfinite(network.source_v).all()
            assert np.isfinite(network.opposing_a).all()


@pytest.mark.parametrize("field", ["red", "clamp"])
def test_a_name_that_the_map_does_not_have_is_refused(front: Circuit, field: str) -> None:
    leads = {"red": "battery-positive-post", "black": "battery-negative-post", field: "nowhere"}
    with pytest.raises(KeyError):
        StartHeld.of(front).closed.rows([Observable("cranking", **leads)])


def test_at_rest_each_point_hangs_on_one_post(circuit: Circuit) -> None:
    positive, negative = sides_at_rest(circuit)
    assert circuit.roles["starter.feed"] in positive
    # The motor ties its own stud to ground while the main contacts are open.
    assert {circuit.roles["starter.motor"], circuit.roles["starter.case"]} <= negative
    assert not positive & negative
    assert positive | negative == set(circuit.points)
