"""The commands. What a command does not need it does not import: a diagnosis in a script starts at once."""

from __future__ import annotations

import json
import shutil
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import click

from wizard import __version__
from wizard.cli_lab import lab, write_new
from wizard.errors import DropwalkError
from wizard.exits import INPUT_WRONG

if TYPE_CHECKING:
    from wizard.circuit.circuit import Circuit
    from wizard.files.yamltext import Document
    from wizard.lab.scenario import Scenario
    from wizard.record.report_lines import Drawn, Report
    from wizard.record.store import JobSummary, Store
    from wizard.walk.desk import Desk
    from wizard.walk.events import Event
    from wizard.walk.jobfile import JobFile

# Longer lines than this are hard to read on paper and on a wide screen alike.
_WIDEST = 100


class _Refused(click.ClickException):
    """What the user can put right, on stderr as it is."""

    exit_code = INPUT_WRONG

    def show(self, file: IO[Any] | None = None) -> None:
        from wizard.quantities import printable

        click.echo(printable(self.message), file=file or sys.stderr)


class _Commands(click.Group):
    """Commands whose mistakes of the user's end in a message and exit code 2, never in a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except DropwalkError as error:
            raise _Refused(str(error)) from error


def _example(*lines: str) -> str:
    """Lines of a help's end that are kept as they are."""
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)


@click.group(cls=_Commands, invoke_without_command=True, epilog=_example("dropwalk", "dropwalk demo"))
@click.version_option(__version__, prog_name="dropwalk")
@click.option(
    "--store",
    type=click.Path(path_type=Path, dir_okay=False),
    envvar="DROPWALK_STORE",
    help="Keep jobs in this file. Without it they are in your user data directory.",
)
@click.pass_context
def cli(ctx: click.Context, store: Path | None) -> None:
    """Find where a starting circuit loses its volts, and prove the repair.

    Without a command, the screens open. The maker's service information, local rules and licensed practice
    come first.
    """
    ctx.obj = store
    if ctx.invoked_subcommand is None:
        _open_screens(store)


cli.add_command(lab)


def main() -> None:
    """Run the command line."""
    cli(prog_name="dropwalk")


class _Demo(click.Command):
    """Names the vehicles at the end of its help; their files are read only then."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Vehicles"):
            formatter.write_dl(list(_demos().items()))
        super().format_epilog(ctx, formatter)


@cli.command(cls=_Demo, epilog=_example("dropwalk demo", "dropwalk demo parcel-van"))
@click.argument("scenario", metavar="[VEHICLE]", required=False)
@click.pass_obj
def demo(store: Path | None, scenario: str | None) -> None:
    """Open the screens on a made-up vehicle with a simulated meter; without a name, the first one below."""
    names = list(_demos())
    if scenario is not None and scenario not in names:
        raise DropwalkError(f"there is no demo {scenario!r}; allowed: {', '.join(names)}")
    _open_screens(store, scenario or names[0])


@cli.command(epilog=_example("dropwalk diagnose my-van.yaml", "dropwalk diagnose my-van.yaml --json --plan fastest"))
@click.argument("file", metavar="JOB.yaml", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program.")
@click.option(
    "--plan",
    type=click.Choice(["walk", "fastest"]),
    default="walk",
    show_default=True,
    help="Take the next test from the walk, or the best one anywhere.",
)
def diagnose(file: Path, as_json: bool, plan: str) -> None:
    """Say what the readings in a job file mean and what to do next.

    A scenario file is read as its complaint alone, before any reading.
    """
    from wizard.files.shelf import Kind, kind_of
    from wizard.files.yamltext import read_document
    from wizard.walk.state import fold
    from wizard.walk.walker import assess

    document = read_document(file)
    kind = kind_of(document)
    if kind is Kind.JOB:
        case, desk = _job(document, file)
        title, events = case.job, case.events()
    elif kind is Kind.SCENARIO:
        from wizard.walk.events import Started

        scenario, desk = _scenario_in(document, file)
        title = scenario.title
        events = [Started(title=title, complaint=scenario.complaint(), flow=scenario.flow)]
    else:
        raise DropwalkError(f"{file}:1:1: this is a {kind} file; `diagnose` reads a job or a scenario")
    found = assess(desk, fold(events), "fastest" if plan == "fastest" else "walk", cautions_read=True)
    if as_json:
        click.echo(json.dumps(found.to_json(), indent=2))
    else:
        from wizard.record.printout import printout

        click.echo(printout(title, desk, found, _width()), nl=False)


@cli.command(epilog=_example("dropwalk check my-map.yaml my-van.yaml"))
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
def check(files: tuple[Path, ...]) -> None:
    """Name every error in your files.

    A flow, a circuit map, a job, a scenario, limits, cautions, priors, repairs, a glossary, your settings or an
    exported job.
    """
    from wizard.errors import BadFile
    from wizard.quantities import printable

    problems = []
    sound = []
    for file in files:
        try:
            sound.append(f"{printable(str(file))}: {_checked(file)}, no errors")
        except BadFile as error:
            problems += error.problems
    if problems:
        raise BadFile(problems)
    click.echo("\n".join(sound))


@cli.command(epilog=_example("dropwalk draw front-battery", "dropwalk draw no-crank-clicks"))
@click.argument("name", metavar="FLOW|MAP")
def draw(name: str) -> None:
    """Draw a circuit map or a flow in plain text.

    FLOW|MAP is a shipped one's name or the path of a YAML file.
    """
    from wizard.files import shelf
    from wizard.files.sketch import draw_flow, draw_map

    if name in shelf.circuit_names():
        text = draw_map(shelf.circuit_map(name, Path.cwd()), shelf.limits())
    elif name in shelf.flow_names():
        text = draw_flow(shelf.flow(name))
    elif name.endswith((".yaml", ".yml")):
        text = _drawn(Path(name))
    else:
        names = ", ".join([*shelf.circuit_names(), *shelf.flow_names()])
        raise DropwalkError(f"there is no flow or map {name!r}; write {names} or the path of a .yaml file")
    click.echo(text, nl=False)


@cli.command(epilog=_example("dropwalk report 3 --to van.pdf", "dropwalk report my-van.yaml --to my-van.html"))
@click.argument("job", metavar="JOB")
@click.option(
    "--to",
    "file",
    metavar="FILE",
    required=True,
    type=click.Path(path_type=Path),
    help="Where to write it; the ending says the form: .html, .pdf, .md or .json.",
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Of a PDF.")
@click.option("--replace", is_flag=True, help="Write over a file that is there already.")
@click.pass_obj
def report(path: Path | None, job: str, file: Path, paper: str, replace: bool) -> None:
    """Write a job down: a page for the customer and the record behind it.

    JOB is the number of a job on record, or the path of a job file or of an exported job.
    """
    from wizard.record.report import session_report
    from wizard.record.report_files import write
    from wizard.record.session import Session

    written = _now().astimezone()
    if job.isascii() and job.isdigit() and len(job) < 16:
        with _store(path) as store:
            session = Session.open(store, int(job), _now)
            made, drawn = session_report(session, written)
            circuit = session.desk.circuit
    else:
        made, drawn, circuit = _reported(Path(job), written)
    write(made, drawn, circuit, file, paper="a4" if paper == "a4" else "us-letter", replace=replace)
    click.echo(f"the report is in {file}")


@cli.command(
    epilog=_example(
        "dropwalk completion bash >> ~/.bashrc",
        "dropwalk completion fish > ~/.config/fish/completions/dropwalk.fish",
    )
)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the script that completes commands in your shell."""
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    assert kind is not None
    click.echo(kind(cli, {}, "dropwalk", "_DROPWALK_COMPLETE").source())


@cli.group(cls=_Commands, invoke_without_command=True, epilog=_example("dropwalk jobs", "dropwalk jobs --json"))
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program.")
@click.option("--all", "every", is_flag=True, help="Archived jobs too.")
@click.pass_context
def jobs(ctx: click.Context, as_json: bool, every: bool) -> None:
    """List the jobs on record, or work on one."""
    if ctx.invoked_subcommand is not None:
        if as_json or every:
            raise click.UsageError("--json and --all belong to the list; leave them out before a subcommand")
        return
    with _store(ctx.obj) as store:
        listed = store.jobs(archived=every)
    if as_json:
        click.echo(json.dumps([_as_json(job) for job in listed], indent=2))
    else:
        click.echo("\n".join(map(_line, listed)) if listed else "no jobs yet; `dropwalk` opens one")


_JOB = click.argument("job", type=click.IntRange(min=1))


@jobs.command(epilog=_example("dropwalk jobs show 3"))
@_JOB
@click.pass_obj
def show(path: Path | None, job: int) -> None:
    """Say where a job stands: readings, suspects, what to do next."""
    from wizard.record.printout import printout
    from wizard.record.session import Session

    with _store(path) as store:
        session = Session.open(store, job, _now)
        text = printout(session.state.title, session.desk, session.assess("walk"), _width())
    click.echo(text, nl=False)


@jobs.command(epilog=_example('dropwalk jobs rename 3 "grey van, third visit"'))
@_JOB
@click.argument("title")
@click.pass_obj
def rename(path: Path | None, job: int, title: str) -> None:
    """Give a job a new title."""
    from pydantic import ValidationError

    from wizard.walk.events import Renamed

    try:
        renamed = Renamed(title=title)
    except ValidationError as error:
        raise DropwalkError(
            f"this can't be a title: {error.errors()[0]['msg'].removeprefix('Value error, ')}"
        ) from None
    with _store(path) as store:
        store.append(job, _now(), renamed)
    click.echo(f"job {job} is renamed")


@jobs.command(epilog=_example("dropwalk jobs export 3 van.json", "dropwalk jobs export 3 > van.json"))
@_JOB
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.pass_obj
def export(path: Path | None, job: int, file: Path | None) -> None:
    """Write a whole job as one JSON file.

    Without FILE it goes to stdout. A file that is there already is kept.
    """
    from wizard.record.transfer import export_job

    with _store(path) as store:
        text = export_job(store, job)
    if file is None:
        click.echo(text, nl=False)
        return
    write_new(file, text)
    click.echo(f"job {job} is in {file}")


@jobs.command("import", epilog=_example("dropwalk jobs import van.json"))
@click.argument("file", type=click.Path(path_type=Path))
@click.pass_obj
def import_(path: Path | None, file: Path) -> None:
    """Add an exported job to the record, under a number of its own."""
    from wizard.record.transfer import import_job

    with _store(path) as store:
        job = import_job(store, file)
    click.echo(f"{file} is job {job} now")


@jobs.command(epilog=_example("dropwalk jobs archive 3", "dropwalk jobs archive 3 --undo"))
@_JOB
@click.option("--undo", is_flag=True, help="Put it back on the list.")
@click.pass_obj
def archive(path: Path | None, job: int, undo: bool) -> None:
    """Take a job off the list; nothing in it is lost."""
    with _store(path) as store:
        store.archive(job, not undo)
    click.echo(f"job {job} is {'back on the list' if undo else 'archived'}")


def _now() -> datetime:
    return datetime.now(UTC)


def _width() -> int:
    return min(shutil.get_terminal_size((80, 24)).columns, _WIDEST)


def _store(path: Path | None) -> Store:
    from wizard.record.store import Store, default_path

    return Store(path or default_path())


def _open_screens(path: Path | None, scenario: str | None = None) -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise DropwalkError("the screens need a terminal; in a script use `dropwalk diagnose JOB.yaml`")
    from wizard.record.store import default_path
    from wizard.ui.app import run_app

    run_app(path or default_path(), scenario)


def _demos() -> dict[str, str]:
    """The shipped scenarios by name, with their titles."""
    from wizard.files.places import shipped
    from wizard.files.shelf import Kind, kind_of
    from wizard.files.yamltext import read_document

    documents = {file.stem: read_document(file) for file in sorted(shipped("scenarios").glob("*.yaml"))}
    return {name: str(d.data.get("title", name)) for name, d in documents.items() if kind_of(d) is Kind.SCENARIO}


def _scenario_in(document: Document, path: Path) -> tuple[Scenario, Desk]:
    from wizard.files.shelf import fitted
    from wizard.lab.scenario import Scenario

    return fitted(document, Scenario, path.parent)


def _job(document: Document, path: Path) -> tuple[JobFile, Desk]:
    from wizard.files.shelf import fitted
    from wizard.walk.jobfile import JobFile

    return fitted(document, JobFile, path.parent)


def _reported(path: Path, written: datetime) -> tuple[Report, Drawn, Circuit]:
    """The report of a job file, which has no times, or of an exported job."""
    from wizard.files import shelf
    from wizard.files.yamltext import read_document
    from wizard.record import transfer
    from wizard.record.report import compile_report
    from wizard.walk.case import Case
    from wizard.walk.state import fold

    document = read_document(path, largest=transfer.LARGEST_BYTES)
    log: list[tuple[datetime, Event]] = []
    match kind := shelf.kind_of(document):
        case shelf.Kind.JOB:
            case, desk = _job(document, path)
            state = fold(case.events())
        case shelf.Kind.RECORD:
            lines = transfer.read_record(document).events
            state = fold(line.event for line in lines)
            assert state.complaint is not None
            desk = shelf.desk_for(state.complaint, state.flow, path.parent)
            log = [(line.at, line.event) for line in lines]
        case _:
            raise DropwalkError(f"{path}:1:1: this is a {kind} file; `report` reads a job file or an exported job")
    return *compile_report(Case.of(desk, state), written=written, log=log), desk.circuit


def _checked(path: Path) -> str:
    """What kind of file this is. Raises BadFile with every problem in it."""
    from wizard.files import shelf
    from wizard.files.plainwords import checked
    from wizard.files.yamltext import read_document
    from wizard.record import transfer

    document = read_document(path, largest=transfer.LARGEST_BYTES)
    match kind := shelf.kind_of(document):
        case shelf.Kind.JOB:
            _job(document, path)
        case shelf.Kind.SCENARIO:
            _scenario_in(document, path)
        case shelf.Kind.RECORD:
            transfer.read_record(document)
        case shelf.Kind.EXERCISE:
            from wizard.lab.exercise import Exercise

            shelf.fitted(document, Exercise, path.parent)
        case shelf.Kind.SEALED:
            from wizard.lab.sealing import Sealed

            checked(document, Sealed)
        case shelf.Kind.HANDIN:
            from wizard.lab.handin import HandIn

            checked(document, HandIn)
        case _:
            shelf.check_table(document, kind)
    return str(kind)


def _drawn(path: Path) -> str:
    from wizard.files import shelf
    from wizard.files.sketch import draw_flow, draw_map
    from wizard.files.yamltext import read_document

    document = read_document(path)
    match kind := shelf.kind_of(document):
        case shelf.Kind.FLOW:
            return draw_flow(shelf.read_flow(document))
        case shelf.Kind.CIRCUIT:
            return draw_map(shelf.read_map(document), shelf.limits())
        case _:
            raise DropwalkError(f"{path}:1:1: this is a {kind} file; `draw` draws a flow or a circuit map")


def _as_json(job: JobSummary) -> dict[str, Any]:
    reading = job.last_reading
    return {
        "id": job.id,
        "title": job.title,
        "created": job.created.isoformat(),
        "updated": job.updated.isoformat(),
        "archived": job.archived,
        "circuit": job.circuit,
        "symptom": job.symptom,
        "scenario": job.scenario,
        "events": job.events,
        "readings": job.readings,
        "repairs": job.repairs,
        "follow_up": job.follow_up,
        "starts_left": job.starts_left,
        "last_reading": reading.taken.model_dump(mode="json", exclude_none=True) if reading else None,
        "trouble": job.trouble,
    }


def _line(job: JobSummary) -> str:
    from wizard.quantities import printable, show_amps, show_volts

    when = job.updated.astimezone().strftime("%Y-%m-%d %H:%M")
    if job.trouble:
        return printable(f"{job.id:>4}  {when}  {job.title}: {job.trouble.splitlines()[0]}")
    count = f"{job.readings} reading{'' if job.readings == 1 else 's'}"
    facts = [job.circuit or "no circuit", job.symptom or "symptom not told", count]
    if job.last_reading:
        taken = job.last_reading.taken
        shown = show_amps if taken.clamp else show_volts
        value = "open" if isinstance(taken.value, str) else shown(taken.value)
        facts.append(f"last {taken.clamp or f'{taken.red} to {taken.black}'}: {value}")
    if job.archived:
        facts.append("archived")
    return printable(f"{job.id:>4}  {when}  {job.title}  ({', '.join(facts)})").replace("\n", " ")
