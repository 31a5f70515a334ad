"""Files made into checked models, and the desk that a job is judged at."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol, Self, TypeVar

from pydantic import ValidationError

from wizard.circuit.circuit import Circuit
from wizard.circuit.limits import Limits
from wizard.circuit.map import Checked, CircuitMap
from wizard.circuit.map import Path as FieldPath
from wizard.diagnosis.priors import Priors
from wizard.errors import BadFile, DropwalkError, Problem
from wizard.files.glossary import Glossary
from wizard.files.places import is_shipped, locate, shipped, shipped_names
from wizard.files.plainwords import Model, bad_places, checked, problems_of, refuse, shaped
from wizard.files.settings import SettingsFile
from wizard.files.yamltext import Document, dotted, read_document
from wizard.repair.advice import RepairTable
from wizard.walk.desk import Desk
from wizard.walk.events import Complaint
from wizard.walk.flow import Cautions, Flow
from wizard.walk.jobfile import complaint_misfits

CIRCUITS = "flows/circuits"
FLOWS = "flows"
# Shipped files of `flows` that are no flows.
_TABLES = ("cautions", "glossary", "limits", "priors", "repairs")


class Kind(StrEnum):
    """What a file is, by its telling key."""

    JOB = "job"
    SCENARIO = "scenario"
    HANDIN = "handin"
    SEALED = "sealed"
    EXERCISE = "exercise"
    RECORD = "record"
    LIMITS = "limits"
    PRIORS = "priors"
    CAUTIONS = "cautions"
    GLOSSARY = "glossary"
    SETTINGS = "settings"
    FLOW = "flow"
    CIRCUIT = "circuit"
    # A circuit map has a key `repairs` too.
    REPAIRS = "repairs"


def kind_of(document: Document) -> Kind:
    """What kind of file this is. A job names a circuit and a flow too, so those keys count last.

    Raises BadFile when no telling key is there.
    """
    for kind in Kind:
        if kind in document.data:
            return kind
    problem = document.problem((), f"what this file is can't be told; its first key must be one of: {', '.join(Kind)}")
    raise BadFile([problem])


class Fitted(Protocol):
    """A complaint in a file, which can name what its map and its flow do not have."""

    @property
    def circuit(self) -> str: ...

    @property
    def flow(self) -> str: ...

    @classmethod
    def model_validate(cls, obj: Any) -> Self: ...

    def complaint(self) -> Complaint: ...

    def inconsistencies(self) -> Iterator[tuple[FieldPath, str]]: ...

    def misfits(self, circuit_map: CircuitMap, flow: Flow) -> Iterator[tuple[FieldPath, str]]: ...


Case = TypeVar("Case", bound=Fitted)


def read(path: Path, model: type[Model]) -> Model:
    """One file as this model. Raises BadFile with every problem in it.

    The shipped files' lint is a test of the project's and is not run again at each start.
    """
    document = read_document(path)
    return shaped(document, model) if is_shipped(path) else checked(document, model)


@lru_cache(maxsize=64)
def _read_once(path: Path, model: type[Checked], stamp: tuple[int, int]) -> Checked:  # noqa: ARG001
    return read(path, model)


def _kept(path: Path, model: type[Model]) -> Model:
    """The same, read again only when the file has changed."""
    try:
        status = path.stat()
    except OSError:
        return read(path, model)
    made = _read_once(path, model, (status.st_mtime_ns, status.st_size))
    assert isinstance(made, model)
    return made


def circuit_names() -> list[str]:
    """Names of the shipped circuit maps."""
    return shipped_names(CIRCUITS)


def flow_names() -> list[str]:
    """Names of the shipped flows."""
    return [name for name in shipped_names(FLOWS) if name not in _TABLES]


def circuit_map(name: str, base: Path) -> CircuitMap:
    """A shipped map by its name, or a file by its path from `base`. Raises DropwalkError, BadFile."""
    path = locate(name, CIRCUITS, base)
    if path is None:
        names = ", ".join(circuit_names())
        raise DropwalkError(f"there is no circuit map {name!r}; write {names} or the path of a .yaml file")
    return _kept(path, CircuitMap)


def flow(name: str) -> Flow:
    """A shipped flow by its name. Raises DropwalkError."""
    path = locate(name, FLOWS, shipped(FLOWS)) if name in flow_names() else None
    if path is None:
        raise DropwalkError(f"there is no flow {name!r}; allowed: {', '.join(flow_names())}")
    return _kept(path, Flow)


def cautions() -> Cautions:
    """The shipped cautions."""
    return _kept(shipped(FLOWS) / "cautions.yaml", Cautions)


def limits() -> Limits:
    """The shipped limits."""
    return _kept(shipped(FLOWS) / "limits.yaml", Limits)


def priors() -> Priors:
    """The shipped priors."""
    return _kept(shipped(FLOWS) / "priors.yaml", Priors)


def glossary() -> Glossary:
    """The shipped glossary."""
    return _kept(shipped(FLOWS) / "glossary.yaml", Glossary)


def repairs() -> RepairTable:
    """The shipped advice on repairs."""
    return _kept(shipped(FLOWS) / "repairs.yaml", RepairTable)


def rooted(complaint: Complaint, base: Path) -> Complaint:
    """The same complaint with a map's path written in full, so that it leads there from anywhere."""
    path = locate(complaint.circuit, CIRCUITS, base)
    if path is None or is_shipped(path):
        return complaint
    return complaint.model_copy(update={"circuit": str(path.resolve())})


def desk_for(complaint: Complaint, flow_name: str, base: Path) -> Desk:
    """Everything that this complaint is judged with; `base` is where the path of a map starts from.

    Raises DropwalkError, BadFile, also when the complaint names what its map does not have.
    """
    chart = circuit_map(complaint.circuit, base)
    if faults := list(complaint_misfits(complaint, chart)):
        raise DropwalkError("\n".join(f"{dotted(path)}: {message}" for path, message in faults))
    circuit = Circuit.of(chart, complaint.changes, complaint.air)
    return Desk(circuit, flow(flow_name), limits(), cautions(), priors())


def read_map(document: Document) -> CircuitMap:
    """A document as a circuit map. Raises BadFile with every problem in it."""
    return checked(document, CircuitMap)


def read_flow(document: Document) -> Flow:
    """A document as a flow that fits the shipped cautions and limits. Raises BadFile with every problem."""
    made = checked(document, Flow)
    refuse(document, _flow_misfits(made))
    return made


def check_table(document: Document, kind: Kind) -> None:
    """Hold a document that stands on its own against the model of its kind. Raises BadFile."""
    match kind:
        case Kind.FLOW:
            read_flow(document)
        case Kind.CIRCUIT:
            read_map(document)
        case Kind.LIMITS:
            checked(document, Limits)
        case Kind.CAUTIONS:
            checked(document, Cautions)
        case Kind.PRIORS:
            checked(document, Priors)
        case Kind.REPAIRS:
            checked(document, RepairTable)
        case Kind.GLOSSARY:
            checked(document, Glossary)
        case Kind.SETTINGS:
            checked(document, SettingsFile)
        case _:
            raise ValueError(f"{kind} is no table")


def _flow_misfits(made: Flow) -> Iterator[tuple[FieldPath, str]]:
    known, rows = cautions().cautions, limits()
    for name, step in made.steps.items():
        for number, caution in enumerate(step.cautions):
            if caution not in known:
                yield ("steps", name, "cautions", number), f"there is no caution {caution!r}"
        if step.limit is not None and step.limit not in {*rows.sides, *rows.floors}:
            yield ("steps", name, "limit"), f"the limits have no row {step.limit!r}"


def fitted(document: Document, model: type[Case], base: Path) -> tuple[Case, Desk]:
    """A job or a scenario with its desk; `base` is its folder. Raises BadFile with every problem in it.

    What is sound in it is held against the map and the flow even where the rest is wrong: one look tells all.
    """
    problems: list[Problem] = []
    kept: dict[str, list[int]] = {}
    try:
        case = model.model_validate(document.data)
    except ValidationError as error:
        problems = problems_of(document, model, error)
        sound, kept = _sound_part(document.data, bad_places(model, error))
        try:
            case = model.model_validate(sound)
        except ValidationError:
            raise BadFile(problems) from None
    chart = steps = None
    try:
        chart = circuit_map(case.circuit, base)
    except BadFile as error:
        problems += [document.problem(("circuit",), f"the map {case.circuit!r} has errors"), *error.problems]
    except DropwalkError as error:
        problems.append(document.problem(("circuit",), str(error)))
    try:
        steps = flow(case.flow)
    except DropwalkError as error:
        problems.append(document.problem(("flow",), str(error)))
    faults = list(case.inconsistencies())
    if chart and steps:
        faults += case.misfits(chart, steps)
    problems += [document.problem(_in_file(path, kept), message) for path, message in faults]
    if problems:
        raise BadFile(problems)
    return case, desk_for(case.complaint(), case.flow, base)


def _sound_part(data: dict[str, Any], bad: set[FieldPath]) -> tuple[dict[str, Any], dict[str, list[int]]]:
    """The data without the keys that have something bad in them; of a list, only its bad items are left out.

    Also the numbers that the items left in each list had.
    """
    sound: dict[str, Any] = {}
    kept: dict[str, list[int]] = {}
    for key, value in data.items():
        if not isinstance(value, list):
            if not any(path[:1] == (key,) for path in bad):
                sound[key] = value
        elif (key,) not in bad:
            out = {path[1] for path in bad if path[0] == key and len(path) > 1}
            kept[key] = [number for number in range(len(value)) if number not in out]
            sound[key] = [value[number] for number in kept[key]]
    return sound, kept


def _in_file(path: FieldPath, kept: dict[str, list[int]]) -> FieldPath:
    match path:
        case (str(key), int(number), *rest) if key in kept:
            return (key, kept[key][number], *rest)
        case _:
            return path
