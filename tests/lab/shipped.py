"""Shipped exercises with their desks, read once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from wizard.files.places import shipped, shipped_names
from wizard.files.shelf import fitted
from wizard.files.yamltext import read_document
from wizard.lab.exercise import Exercise
from wizard.walk.desk import Desk

NAMES = shipped_names("scenarios/exercises")


@cache
def set_exercise(name: str) -> tuple[Exercise, Desk]:
    """A shipped exercise and what it is judged with."""
    return fitted(read_document(shipped("scenarios") / "exercises" / f"{name}.yaml"), Exercise, Path())
