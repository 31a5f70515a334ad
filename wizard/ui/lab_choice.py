"""From home to the bench: which exercise, under which name."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, NoReturn

from textual.app import App

from wizard.errors import DropwalkError
from wizard.files.places import shipped, shipped_names
from wizard.files.yamltext import read_document
from wizard.lab.attempt import going_on, make_folder, times_handed_in
from wizard.lab.exercise import LEVELS
from wizard.lab.given import Given, answer_at_once, read_exercise
from wizard.ui.ask_text import AskText
from wizard.ui.lab_bench import BenchScreen, begin, checked_name
from wizard.ui.pick import Item, Pick

_A_FILE = "file"
_HINT = "The path of the file that your teacher gave you, such as monday.sealed.yaml"


class LabChoice:
    """Chooses and begins an attempt; drafts and hand-ins are kept in `folder`, and `say` tells what came of it."""

    def __init__(self, app: App[None], folder: Path, say: Callable[[str], None]) -> None:
        self._app, self._folder, self._say = app, folder, say

    def ask(self) -> None:
        """Which exercise?"""
        try:
            items = [*exercise_items(self._folder), Item(_A_FILE, "an exercise file that you were given")]
        except DropwalkError as error:
            self._say(f"! {error}")
            return
        self._app.push_screen(Pick("Which exercise?", items), self._picked)

    def _picked(self, names: tuple[str, ...] | None) -> None:
        if names == (_A_FILE,):
            self._app.push_screen(AskText("Which file?", _HINT, "", _existing), self._given)
        elif names:
            self._given(str(shipped("scenarios") / "exercises" / f"{names[0]}.yaml"))

    def _given(self, path: str | None) -> None:
        if path is None:
            return
        try:
            given = read_exercise(Path(path).expanduser(), _no_passphrase, to_play=True)
        except DropwalkError as error:
            self._say(f"! {error}")
            return
        hint = "It goes on your hand-in. To go on with an attempt, type the same name again."
        names = going_on(self._folder, given.exercise.exercise)
        self._app.push_screen(
            AskText("Your name", hint, names[0] if names else "", checked_name), partial(self._named, given)
        )

    def _named(self, given: Given, name: str | None) -> None:
        if name is None:
            return
        try:
            make_folder(self._folder)
            attempt = begin(given.exercise, given.desk, checked_name(name), self._folder)
        except DropwalkError as error:
            self._say(f"! {error}")
            return
        screen = BenchScreen(attempt, answers=answer_at_once(given, served=False))
        self._app.push_screen(screen, self._left)

    def _left(self, handed_in: Path | None) -> None:
        told = f"Your hand-in is {handed_in}" if handed_in else "The attempt is kept: e, the same exercise and name."
        self._say(told)


def exercise_items(folder: Path) -> list[Item]:
    """Every shipped exercise from the first lesson on, with whose attempt goes on and how many were handed in."""
    told: list[tuple[int, Item]] = []
    for name in shipped_names("scenarios/exercises"):
        data: Any = read_document(shipped("scenarios") / "exercises" / f"{name}.yaml").data
        level = str(data.get("level", "easy"))
        remark = f"{level}, {float(data.get('minutes', 45)):.0f} min"
        names = going_on(folder, name)
        done = times_handed_in(folder, name)
        remark += f"; going on: {', '.join(names)}" if names else f"; handed in {done}" if done else ""
        told.append(([str(known) for known in LEVELS].index(level), Item(name, str(data["title"]), remark)))
    return [item for _, item in sorted(told, key=lambda pair: pair[0])]


def _existing(text: str) -> Path:
    path = Path(text.strip()).expanduser()
    if not path.is_file():
        raise ValueError("there is no such file; write its path, as ~/Downloads/monday.sealed.yaml")
    return path


def _no_passphrase() -> NoReturn:
    raise DropwalkError("this exercise was sealed without a bench: it is played where the teacher serves it")
