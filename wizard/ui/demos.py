"""The made-up vehicles that are shipped, for the demo."""

from __future__ import annotations

from wizard.errors import DropwalkError
from wizard.files.places import shipped, shipped_names
from wizard.files.shelf import Kind, fitted, kind_of
from wizard.files.yamltext import read_document
from wizard.lab.scenario import Scenario
from wizard.ui.pick import Item
from wizard.walk.desk import Desk


def demo(name: str) -> tuple[Scenario, Desk]:
    """A shipped scenario by its name, with its desk. Raises DropwalkError."""
    if name not in shipped_names("scenarios"):
        raise DropwalkError(f"there is no demo {name!r}; allowed: {', '.join(item.id for item in demo_items())}")
    path = shipped("scenarios") / f"{name}.yaml"
    return fitted(read_document(path), Scenario, path.parent)


def demo_items() -> list[Item]:
    """Every shipped scenario, to pick from."""
    items: list[Item] = []
    for name in shipped_names("scenarios"):
        document = read_document(shipped("scenarios") / f"{name}.yaml")
        if kind_of(document) is Kind.SCENARIO:
            items.append(Item(name, str(document.data.get("title", name)), name))
    return items
