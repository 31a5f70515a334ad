"""A circuit map or a flow drawn as plain text."""

from __future__ import annotations

from collections.abc import Iterator

from wizard.circuit.circuit import Circuit
from wizard.circuit.limits import Limits
from wizard.circuit.map import CircuitMap, Side
from wizard.quantities import printable, show_milliohms, show_volts
from wizard.walk.flow import Flow


def draw_map(circuit_map: CircuitMap, limits: Limits) -> str:
    """The run from post to post and what lies beside it; each part's sound resistance and the limit from end to end."""
    return printable("\n".join(_map_lines(Circuit.of(circuit_map), limits)) + "\n")


def _map_lines(circuit: Circuit, limits: Limits) -> Iterator[str]:
    points = circuit.map.points
    yield f"{circuit.map.circuit}: {circuit.map.title}, {circuit.system_v:g} V"
    for heading, run in (("positive side", ("positive", "contacts")), ("ground side", ("ground",))):
        yield ""
        yield heading
        here = circuit.runs[run[0]][0]
        yield f"  {points[here].label} ({here})"
        for name in (part for span in run for part in circuit.path(*circuit.runs[span]) or ()):
            first, second = circuit.parts[name].part.between
            here = second if here == first else first
            yield f"   |  {_part(circuit, limits, name)}"
            yield f"  {points[here].label} ({here})"
    yield from _beside(circuit, limits, "beside it, in parallel", control=False)
    yield from _beside(circuit, limits, "control side", control=True)


def _beside(circuit: Circuit, limits: Limits, heading: str, *, control: bool) -> Iterator[str]:
    names = [
        name
        for name, passive in circuit.parts.items()
        if name not in circuit.main_loop and (passive.part.side is Side.CONTROL) is control
    ]
    if not names:
        return
    yield ""
    yield heading
    for name in names:
        start, end = (circuit.map.points[point].label for point in circuit.parts[name].part.between)
        yield f"  {start} to {end}"
        yield f"   |  {_part(circuit, limits, name)}"


def _part(circuit: Circuit, limits: Limits, name: str) -> str:
    passive = circuit.parts[name]
    part = passive.part
    measures = f", {part.length_m:g} m {part.size}" if part.length_m and part.size else ""
    sound = show_milliohms(passive.ohm * 1e3)
    limit, _ = limits.judge(circuit, "cranking", *part.between, None)
    allowed = "" if limit is None else f", allowed {show_volts(limit)}"
    return f"{part.label} ({name}){measures}: sound {sound}{allowed}"


def draw_flow(flow: Flow) -> str:
    """The steps in the order in which they can be reached, each with where it leads."""
    return printable("\n".join(_flow_lines(flow)) + "\n")


def _flow_lines(flow: Flow) -> Iterator[str]:
    import networkx

    graph = flow.graph()
    yield f"{flow.flow}: {flow.title}"
    for name in [flow.start, *(target for _, target in networkx.bfs_edges(graph, flow.start))]:
        step = flow.steps[name]
        yield ""
        yield f"{name} [{step.kind}] {step.title}"
        for outcome, target in step.then.items():
            yield f"  {outcome} -> {target}"
