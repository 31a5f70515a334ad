"""The commands of the lab: set an exercise, play it, serve it, mark it."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wizard.errors import DropwalkError

if TYPE_CHECKING:
    from collections.abc import Callable

    from wizard.lab.exercise import Exercise
    from wizard.lab.given import Given
    from wizard.lab.making import Moved
    from wizard.walk.desk import Desk

_PASSPHRASE = "DROPWALK_PASSPHRASE"
_LEVELS = click.Choice(["first", "easy", "middle", "hard"])
_TO_FILE = click.Path(path_type=Path, dir_okay=False)
_FOLDER = click.Path(path_type=Path, file_okay=False)
_LOOPBACK = ("127.0.0.1", "localhost", "::1")
# What serving imports that comes with the extra `lab` alone.
_SERVES = ("textual_serve", "aiohttp")
_THERE = "{path} is there already; name another file"
_EVERYWHERE = ("0.0.0.0", "::", "")
_WIDER = (
    "! {host} can be reached by others on this network, without a password and without encryption. Whoever opens it "
    "can play the exercise and hand in under any name, and each page runs a process on this machine. Use it only on a "
    "network that you trust, and stop it after the lesson."
)


def _example(*lines: str) -> str:
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)


@click.group(epilog=_example("dropwalk lab list", "dropwalk lab mark handed-in --to marks.csv"))
def lab() -> None:
    """Teach with it: exercises, a bench to play them on, and marks."""


@lab.command("list", epilog=_example("dropwalk lab list"))
def list_() -> None:
    """List the shipped exercises, from the first lesson on."""
    from wizard.lab.exercise import LEVELS

    exercises = [_exercise(name).exercise for name in _names()]
    for exercise in sorted(exercises, key=lambda e: (LEVELS.index(e.level), e.exercise)):
        click.echo(f"{exercise.exercise:20} {exercise.level:8} {exercise.minutes:3.0f} min  {exercise.title}")


@lab.command(
    epilog=_example(
        "dropwalk lab new monday.yaml --level easy --seed 7",
        'dropwalk lab new clamp.yaml --part negative-clamp --excess "14 mohm"',
        "dropwalk lab new tired.yaml --fault battery=worn --level middle",
        'dropwalk lab new thin.yaml --circuit remote-battery --cable long-cable --size "6 mm2"',
    )
)
@click.argument("file", metavar="FILE.yaml", type=_TO_FILE)
@click.option("--circuit", default="front-battery", show_default=True, help="A shipped map, or the path of one.")
@click.option("--level", type=_LEVELS, default="easy", show_default=True, help="How hard it is to find.")
@click.option("--seed", type=click.IntRange(min=0), help="Draw the fault and the vehicle from this number.")
@click.option("--part", multiple=True, help="Put the fault into this part. Give it twice for two faults.")
@click.option("--excess", multiple=True, help="Resistance added to that part, such as '14 mohm', or open.")
@click.option(
    "--fault", multiple=True, metavar="WHAT", help="A fault of something else: battery=worn, coil=open and so on."
)
@click.option("--cable", multiple=True, help="This cable is too small a replacement. Give --size with it.")
@click.option("--size", multiple=True, help="The size that was put in, such as '6 mm2' or '8 AWG'.")
@click.option("--moved-by", type=click.Choice(["touch", "heat"]), help="The part's fault comes and goes by this.")
@click.option("--healthy", is_flag=True, help="Nothing is wrong.")
@click.option("--title", help="What the student sees above it.")
@click.option("--board", is_flag=True, help="Played on a real bench board: readings are typed.")
def new(
    file: Path,
    circuit: str,
    level: str,
    seed: int | None,
    part: tuple[str, ...],
    excess: tuple[str, ...],
    fault: tuple[str, ...],
    cable: tuple[str, ...],
    size: tuple[str, ...],
    moved_by: Moved | None,
    healthy: bool,
    title: str | None,
    board: bool,
) -> None:
    """Make an exercise by choices, or at random from a seed.

    One that the wizard itself can't solve is not written.
    """
    from wizard.lab.exercise import LEVELS, Level
    from wizard.lab.making import OTHERS, Chosen, chosen, drawn

    if len(part) != len(excess):
        raise click.UsageError("give --excess once for each --part")
    if len(cable) != len(size):
        raise click.UsageError("give --size once for each --cable")
    for other in fault:
        if other not in OTHERS:
            raise click.UsageError(f"there is no fault {other!r}; write one of {', '.join(OTHERS)}")
    hide = Chosen(list(zip(part, excess, strict=True)), fault, list(zip(cable, size, strict=True)), moved_by)
    faulty = bool(part or fault or cable or moved_by)
    if healthy and faulty:
        raise click.UsageError("--healthy has nothing wrong: leave the faults out, or leave it out")
    desk = _desk(circuit)
    levels: dict[str, Level] = {str(known): known for known in LEVELS}
    name = _id_of(file)
    if healthy or faulty:
        data = chosen(name, levels[level], desk, hide, seed or 1)
    else:
        seed = seed if seed is not None else int.from_bytes(os.urandom(3))
        data = drawn(name, levels[level], desk, seed)
    data |= {"circuit": circuit} | ({"title": title} if title else {}) | ({"board": True} if board else {})
    write_new(file, _as_yaml(data))
    click.echo(f"{file} is written" + ("" if healthy or faulty else f", drawn from seed {seed}"))


@lab.command(epilog=_example("dropwalk lab seal monday.yaml --to monday.sealed.yaml"))
@click.argument("exercise")
@click.option("--to", "to", required=True, type=_TO_FILE, help="Write the sealed exercise to this file.")
@click.option("--no-bench", is_flag=True, help="Leave the simulated vehicle out: for a board, or to be served.")
def seal(exercise: str, to: Path, no_bench: bool) -> None:
    """Hide the answer of an exercise behind your passphrase.

    The passphrase is asked for, or taken from the environment variable DROPWALK_PASSPHRASE. With the bench in it, a
    student who can program could still get the answer out of the file; served, it never leaves your machine.
    """
    from wizard.lab.sealing import seal as lock

    made = _exercise(exercise).exercise
    sealed = lock(made, _passphrase(confirm=True), os.urandom, with_bench=not (no_bench or made.board))
    write_new(to, _as_yaml(sealed.model_dump(mode="json", exclude_none=True)))
    click.echo(f"{to} is sealed; keep {exercise} and the passphrase to yourself")


@lab.command(epilog=_example("dropwalk lab bench first-clamp --student 'A. Learner' --to handed-in"))
@click.argument("exercise")
@click.option("--student", default="", help="The name on the hand-in; asked for when left out.")
@click.option(
    "--to", "to", type=_FOLDER, default=Path(), help="Folder for the hand-in. Without it, the one you are in."
)
@click.option("--served", is_flag=True, hidden=True, help="Keep the answer back: others are still at it.")
def bench(exercise: str, student: str, to: Path, served: bool) -> None:
    """Play an exercise at the bench, and hand it in.

    EXERCISE is a shipped one's name, or the path of an exercise or a sealed exercise.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()) and "TEXTUAL_DRIVER" not in os.environ:
        raise DropwalkError("the bench needs a terminal")
    from wizard.lab.attempt import make_folder
    from wizard.lab.given import answer_at_once
    from wizard.ui.lab_bench import run_bench

    given = _exercise(exercise, to_play=True)
    make_folder(to)
    run_bench(given.exercise, given.desk, student, to, answers=answer_at_once(given, served=served))


@lab.command(epilog=_example("dropwalk lab serve first-clamp --to handed-in"))
@click.argument("exercise")
@click.option("--to", "to", type=_FOLDER, required=True, help="Folder for the hand-ins.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to serve on.")
@click.option("--port", type=click.IntRange(1, 65535), default=8117, show_default=True)
@click.option(
    "--feedback", is_flag=True, help="Show the answer and the marks of an open exercise right after each hand-in."
)
def serve(exercise: str, to: Path, host: str, port: int, feedback: bool) -> None:
    """Serve a bench to browsers; the answer stays on this machine.

    Without --feedback a student sees the answer when you show it: the first to finish can't tell the others.
    On this machine alone unless --host says otherwise. Needs the extra `lab`, in the clone:
    .venv/bin/pip install '.[lab]'
    """
    if host in _EVERYWHERE:
        raise DropwalkError(f"{host} is no address that a browser can open; give this machine's own on the network")
    _exercise(exercise, to_play=True, hand_down=True)
    try:
        from wizard.ui.lab_serve import serve_bench
    except ModuleNotFoundError as error:
        if (error.name or "").split(".")[0] not in _SERVES:
            raise
        raise DropwalkError("serving needs the extra `lab`; in the clone run: .venv/bin/pip install '.[lab]'") from None
    from wizard.lab.attempt import make_folder

    if host not in _LOOPBACK:
        click.echo(_WIDER.format(host=host), err=True)
    make_folder(to)
    click.echo(f"The bench is at http://{host}:{port}. Ctrl+C stops it; hand-ins go to {to}.")
    serve_bench(exercise, to, host, port, answers=feedback)


@lab.command(epilog=_example("dropwalk lab mark handed-in --to marks.csv --plot marks.svg"))
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option("--to", "to", required=True, type=_TO_FILE, help="Write the marks to this CSV file.")
@click.option("--plot", type=_TO_FILE, help="Draw where the class went wrong as an SVG file.")
@click.option("--exercises", type=_FOLDER, help="Folder of your own exercises, sealed ones too.")
def mark(folder: Path, to: Path, plot: Path | None, exercises: Path | None) -> None:
    """Mark a class: every hand-in in DIR, in order.

    A damaged hand-in is told and the rest are marked.
    """
    # The planner's matrices are too small to be worth several threads, which only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from wizard.lab.classroom import Classroom, handins_in, summaries, summary_svg, summary_text, table

    files = handins_in(folder)
    for path in (to, plot):
        if path is not None:
            _refuse_before(path)
    classroom = Classroom(_finder(exercises))
    with click.progressbar(classroom.mark(files), length=len(files), label="Marking", file=sys.stderr) as marked:
        rows = sorted(marked, key=lambda row: row.file)
    bad = [row for row in rows if row.marked is None]
    for row in bad:
        click.echo(f"not marked: {row.file}: {row.trouble}", err=True)
    if len(bad) == len(rows):
        raise DropwalkError("no hand-in could be marked; nothing is written")
    write_new(to, table(rows))
    found = summaries(rows)
    if plot is not None:
        write_new(plot, summary_svg(found))
    for summary in found:
        click.echo(summary_text(summary))
    click.echo(f"{len(rows) - len(bad)} of {len(rows)} hand-ins are marked in {to}")


@lab.command(epilog=_example("dropwalk lab feedback handed-in/learner.handin.json"))
@click.argument("file", metavar="HANDIN", type=click.Path(path_type=Path))
@click.option("--exercises", type=_FOLDER, help="Folder of your own exercises, sealed ones too.")
def feedback(file: Path, exercises: Path | None) -> None:
    """Explain one hand-in's mark, and show its walk beside the best."""
    from wizard.lab.feedback import feedback_text
    from wizard.lab.handin import read_handin
    from wizard.lab.marking import Marker
    from wizard.quantities import printable

    handin = read_handin(file)
    marker = Marker(*_finder(exercises)(handin.exercise))
    click.echo("\n".join(map(printable, feedback_text(marker, handin, marker.mark(handin)).splitlines())))


def _names() -> list[str]:
    from wizard.files.places import shipped_names

    return shipped_names("scenarios/exercises")


def _exercise(name: str, *, to_play: bool = False, hand_down: bool = False) -> Given:
    """A shipped exercise by its name, or an exercise file. A sealed one is opened: to play, by the bench in it.

    A passphrase that is asked for is handed down to the processes that serve it, when told to.
    """
    from wizard.files.places import locate, shipped_names

    path = locate(name, "scenarios/exercises", Path())
    if path is None:
        names = ", ".join(shipped_names("scenarios/exercises"))
        raise DropwalkError(f"there is no exercise {name!r}; write {names} or the path of a .yaml file")
    return _read(path, to_play=to_play, hand_down=hand_down)


def _read(path: Path, *, to_play: bool, hand_down: bool = False) -> Given:
    from wizard.lab.given import read_exercise

    def asked() -> str:
        passphrase = _passphrase()
        if hand_down:
            os.environ[_PASSPHRASE] = passphrase
        return passphrase

    return read_exercise(path, asked, to_play=to_play)


def _finder(folder: Path | None) -> Callable[[str], tuple[Exercise, Desk]]:
    """Exercises by their id: those in the teacher's folder first, then the shipped ones."""
    from wizard.files.shelf import Kind, kind_of
    from wizard.files.yamltext import read_document

    own: dict[str, Path] = {}
    for path in sorted(folder.glob("*.yaml")) if folder else []:
        document = read_document(path)
        kind = kind_of(document)
        if kind in (Kind.EXERCISE, Kind.SEALED):
            # The open file counts before its sealed copy: it needs no passphrase.
            name = str(document.data[str(kind)])
            if kind is Kind.EXERCISE or name not in own:
                own[name] = path

    def find(name: str) -> tuple[Exercise, Desk]:
        if name not in own and name not in _names():
            raise DropwalkError(f"there is no exercise {name!r} here; give its folder with --exercises")
        given = _read(own[name], to_play=False) if name in own else _exercise(name)
        return given.exercise, given.desk

    return find


def _desk(circuit: str) -> Desk:
    from wizard.files.shelf import desk_for
    from wizard.walk.events import Complaint

    return desk_for(Complaint(circuit=circuit), "no-crank-clicks", Path())


def _id_of(file: Path) -> str:
    import re

    name = re.sub(r"[^a-z0-9]+", "-", file.stem.lower()).strip("-")[:60]
    if not name:
        raise DropwalkError(f"{file} gives no name for an exercise; use letters or digits in it")
    return name


def _passphrase(*, confirm: bool = False) -> str:
    known = os.environ.get(_PASSPHRASE)
    if known is not None:
        return known
    return click.prompt("Passphrase", hide_input=True, confirmation_prompt=confirm, err=True)


def _as_yaml(data: dict[str, Any]) -> str:
    import io

    from ruamel.yaml import YAML

    out = io.StringIO()
    yaml = YAML()
    yaml.default_flow_style = False
    yaml.width = 4096
    yaml.dump(data, out)
    return out.getvalue()


def _refuse_before(path: Path) -> None:
    """Say before long work that what comes of it could not be written."""
    if path.exists():
        raise DropwalkError(_THERE.format(path=path))
    if not path.parent.is_dir():
        raise DropwalkError(f"{path} can't be written: there is no folder {path.parent}")


def write_new(path: Path, text: str) -> None:
    """Write a new file; one that is there is kept."""
    try:
        with path.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        raise DropwalkError(_THERE.format(path=path)) from None
    except OSError as error:
        raise DropwalkError(f"{path} can't be written: {error.strerror or error}") from None
