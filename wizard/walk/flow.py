"""The graph of diagnostic steps, as its YAML file says it, and what a sound flow must be."""

# networkx's graph algorithms are only partly typed.
# pyright: reportUnknownMemberType=false

from __future__ import annotations

from collections.abc import Container, Iterator
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from wizard.circuit.map import Checked, Path
from wizard.quantities import Id, LongText, Minutes, Text

if TYPE_CHECKING:
    import networkx

NOT_SURE = "not-sure"
# A choice that stands for each suspected part by its own name, and how evidence speaks of the part chosen.
EACH_PART, THAT_PART = "each-part", "that-part"
# The choice that says that opening something up showed damage, and the one that a fault was made to show itself.
DAMAGE = "damage"
IT_FAILED = "it-failed"
# The choice that says that a repair left things as they were.
STILL_FAILS = "still-fails"
# A question whose answer takes at least this long says so, and waits until something was read.
LONG_MINUTES = 5.0
ROLES = (
    "battery.positive",
    "battery.negative",
    "starter.feed",
    "starter.motor",
    "starter.case",
    "starter.trigger",
)
RUNS = ("positive", "contacts", "ground", "control", "loop")


class StepKind(StrEnum):
    """What a step does."""

    CAUTION = "caution"
    ASK = "ask"
    MEASURE = "measure"
    SPLIT = "split"
    REPAIR = "repair"
    PROVE = "prove"
    FINISH = "finish"


# Outcomes that a step of each kind must lead on from; an ask has its own choices.
OUTCOMES: dict[StepKind, tuple[str, ...]] = {
    StepKind.CAUTION: ("read",),
    StepKind.MEASURE: ("within", "marginal", "over"),
    StepKind.SPLIT: ("found", "nothing"),
    StepKind.REPAIR: ("done",),
    StepKind.PROVE: ("better", "no-better"),
    StepKind.FINISH: (),
}


class Step(Checked):
    """One step. Which fields it has depends on its kind.

    `evidence` of an ask gives, for a choice, how likely it is under a family of faults and otherwise. A step `when`
    intermittent is passed over, with the outcome `passed`, unless the complaint says that the fault comes and goes; one
    `when` repaired until a repair was done; one `when` opens where what was found can't be opened for a look; one
    `when` starter unless the starter is likelier at fault than not and no reading is left that would show it; one
    `when` fails where it is known to crank as it should now.
    `counted` is the choice that says that enough good starts were counted: it holds as far as the count bears it out,
    and otherwise leads on as not sure. A split `of` a reading finds nothing where that was read and within its limit.
    """

    kind: StepKind
    title: Text
    do: LongText = ""
    state: Literal["resting", "cranking"] | None = None
    red: Text | None = None
    black: Text | None = None
    why: LongText = ""
    good: LongText = ""
    mistakes: list[LongText] = []
    teach: LongText = ""
    cautions: list[Id] = []
    limit: Id | None = None
    run: Text | None = None
    of: Id | None = None
    field: Literal["symptom"] | None = None
    choices: dict[Id, Text] = {}
    evidence: dict[Id, dict[Text, Annotated[float, Field(ge=0.001, le=1.0)]]] = {}
    minutes: Minutes = 1.0
    when: Literal["intermittent", "repaired", "opens", "starter", "fails"] | None = None
    passed: Id = NOT_SURE
    counted: Id | None = None
    then: dict[Id, Id] = {}

    def allows(self, choice: str, parts: Container[str]) -> bool:
        """Whether a choice may be made at this step, on a map with these parts."""
        return choice in self.choices or (EACH_PART in self.choices and choice in parts)

    def outcome_of(self, choice: str) -> str:
        """The outcome that a choice leads on by."""
        return choice if choice in self.choices else EACH_PART

    def evidence_for(self, choice: str) -> dict[str, float] | None:
        """Likelihoods that a choice gives by family, part or sound; None when it says nothing."""
        table = self.evidence.get(self.outcome_of(choice))
        if table is None or THAT_PART not in table:
            return table
        return {choice if name == THAT_PART else name: odds for name, odds in table.items()}

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Fields that the kind needs or can't have, and outcomes without a way on."""
        needs = {
            StepKind.MEASURE: ("state", "red", "black"),
            StepKind.SPLIT: ("run",),
            StepKind.ASK: ("choices",),
            StepKind.CAUTION: ("cautions",),
        }.get(self.kind, ())
        for name in needs:
            if not getattr(self, name):
                yield (), f"a {self.kind} step needs {name}"
        if self.when and self.passed not in self.choices:
            yield ("passed",), f"there is no choice {self.passed!r} to pass this step with"
        if self.counted is not None and self.counted not in self.choices:
            yield ("counted",), f"there is no choice {self.counted!r} to hold against the starts that were counted"
        if self.when and self.kind is not StepKind.ASK:
            yield ("when",), "only a step that asks can be passed over"
        outcomes = tuple(self.choices) if self.kind is StepKind.ASK else OUTCOMES[self.kind]
        if self.kind is StepKind.ASK and NOT_SURE not in self.choices:
            yield ("choices",), f"an ask step needs the choice {NOT_SURE}"
        for outcome in outcomes:
            if outcome not in self.then:
                yield ("then",), f"nothing is said for the outcome {outcome!r}"
        for outcome in self.then:
            if outcome not in outcomes:
                yield (
                    ("then", outcome),
                    f"a {self.kind} step has no outcome {outcome!r}; it has {', '.join(outcomes)}",
                )
        if self.of is not None and self.kind is not StepKind.SPLIT:
            yield ("of",), "only a split step is of a reading"
        if self.run is not None and self.run not in RUNS:
            yield ("run",), f"there is no run {self.run!r}; allowed: {', '.join(RUNS)}"
        for lead in ("red", "black"):
            point = getattr(self, lead)
            if point is not None and "." in point and point not in ROLES:
                yield (lead,), f"there is no role {point!r}; allowed: {', '.join(ROLES)}, or a point's id"
        for choice in self.evidence:
            if choice not in self.choices:
                yield ("evidence", choice), "evidence is given for a choice that is not there"
            if "otherwise" not in self.evidence[choice]:
                yield ("evidence", choice), "a choice's evidence needs a row `otherwise`"


class Flow(Checked):
    """A whole flow."""

    flow: Id
    title: Text
    start: Id
    steps: Annotated[dict[Id, Step], Field(min_length=1, max_length=300)]

    def graph(self) -> networkx.DiGraph[str]:
        """The steps as a networkx DiGraph; each edge carries its outcome."""
        import networkx

        graph: networkx.DiGraph[str] = networkx.DiGraph()
        for name, step in self.steps.items():
            graph.add_node(name, kind=str(step.kind))
        for name, step in self.steps.items():
            for outcome, target in step.then.items():
                if target in self.steps:
                    graph.add_edge(name, target, outcome=outcome)
        return graph

    def onward(self, name: str, without: str | None = None) -> set[str]:
        """The step and those further down the flow that can follow it without going back; empty for no step.

        Ways `without` a step do not lead through it.
        """
        order = {step: number for number, step in enumerate(self.steps)}
        found = ({name} & order.keys()) - {without}
        # In the flow's order, so that each step is met before what follows it.
        for step in self.steps:
            if step in found:
                found |= {then for then in self.steps[step].then.values() if order[then] > order[step]} - {without}
        return found

    def on_every_way(self, first: str, last: str) -> set[str]:
        """The steps that can't be missed from the first to the last, without the last; none where no way leads."""
        if last not in self.onward(first):
            return set()
        return {step for step in self.steps if step != last and last not in self.onward(first, without=step)}

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        """Steps that are not there, can't be reached or can't be left; repairs without caution or proof."""
        if self.start not in self.steps:
            yield ("start",), f"there is no step {self.start!r} under steps"
            return
        for name, step in self.steps.items():
            yield from ((("steps", name, *path), text) for path, text in step.inconsistencies())
            if step.of is not None and (step.of not in self.steps or self.steps[step.of].kind is not StepKind.MEASURE):
                yield ("steps", name, "of"), f"there is no step {step.of!r} that measures"
            for outcome, target in step.then.items():
                if target not in self.steps:
                    yield ("steps", name, "then", outcome), f"there is no step {target!r}"
        yield from self._graph_faults()

    def _graph_faults(self) -> Iterator[tuple[Path, str]]:
        import networkx

        graph = self.graph()
        kinds = {name: step.kind for name, step in self.steps.items()}
        reached = {self.start, *networkx.descendants(graph, self.start)}
        ends = {name for name, kind in kinds.items() if kind is StepKind.FINISH}
        can_end = set(ends)
        for end in ends:
            can_end |= networkx.ancestors(graph, end)
        for name in self.steps:
            if name not in reached:
                yield ("steps", name), "no path from the start leads to this step"
            elif name not in can_end:
                yield ("steps", name), "this step is a dead end: no path leads from it to a finish"
        silent = {StepKind.CAUTION, StepKind.ASK, StepKind.FINISH}
        yield from self._circles(graph)
        repairs = [name for name, kind in kinds.items() if kind is StepKind.REPAIR]
        without_caution = graph.subgraph([n for n, kind in kinds.items() if kind is not StepKind.CAUTION])
        for name in repairs:
            if kinds[self.start] is not StepKind.CAUTION and (
                self.start in without_caution
                and name in {self.start, *networkx.descendants(without_caution, self.start)}
            ):
                yield ("steps", name), "a path leads to this repair without passing a caution"
            without_proof = graph.subgraph([n for n, kind in kinds.items() if kind is not StepKind.PROVE])
            if ends & networkx.descendants(without_proof, name):
                yield ("steps", name), "a path leads from this repair to a finish without a proof"
        for name in reached:
            if kinds[name] is StepKind.SPLIT:
                found = self.steps[name].then.get("found")
                onward = graph.subgraph([n for n, kind in kinds.items() if kind in silent or n in repairs])
                if found in self.steps and not (
                    kinds[found] is StepKind.REPAIR
                    or (found in onward and set(repairs) & networkx.descendants(onward, found))
                ):
                    yield ("steps", name, "then", "found"), "a finding must lead to a repair"

    def _circles(self, graph: networkx.DiGraph[str]) -> Iterator[tuple[Path, str]]:
        """Circles that no repair breaks: only a repair makes the readings before it count no more."""
        import networkx

        lasting = graph.subgraph([n for n, step in self.steps.items() if step.kind is not StepKind.REPAIR])
        for circle in networkx.strongly_connected_components(lasting):
            if len(circle) > 1 or any(lasting.has_edge(name, name) for name in circle):
                names = [name for name in self.steps if name in circle]
                yield ("steps", names[0]), f"no repair breaks the circle of these steps: {', '.join(names)}"


class LabelledCaution(Checked):
    """A caution: its short title and what to do."""

    title: Text
    text: LongText


class Cautions(Checked):
    """All cautions, with the things done that each belongs to.

    `when` keys: `always`, `cranking`, a place of a point (`battery`, `under`, ...), or a kind of repair.
    """

    cautions: dict[Id, LabelledCaution]
    when: dict[Id, list[Id]]
    defer: LongText

    def inconsistencies(self) -> Iterator[tuple[Path, str]]:
        for what, names in self.when.items():
            for number, name in enumerate(names):
                if name not in self.cautions:
                    yield ("when", what, number), f"there is no caution {name!r} under cautions"

    def for_deed(self, *deeds: str) -> list[str]:
        """Ids of the cautions that these deeds carry, in the file's order, without repeats."""
        wanted = {name for deed in ("always", *deeds) for name in self.when.get(deed, [])}
        return [name for name in self.cautions if name in wanted]
