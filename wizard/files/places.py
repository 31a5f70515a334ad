"""Where the shipped files are, and where a name in a file leads; the only module that knows."""

from __future__ import annotations

import re
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")
_ENDINGS = (".yaml", ".yml")


def shipped(folder: str) -> Path:
    """A shipped folder, `flows` or `scenarios`: inside the installed package, or beside it in a checkout."""
    installed = _PACKAGE / "shipped" / folder
    return installed if installed.is_dir() else _PACKAGE.parent / folder


def shipped_names(folder: str) -> list[str]:
    """Names of the YAML files in a shipped folder, such as `flows/circuits`, without their ending."""
    top, _, below = folder.partition("/")
    return sorted(path.stem for path in (shipped(top) / below).glob("*.yaml"))


def locate(name: str, folder: str, base: Path) -> Path | None:
    """The file that a name stands for: a shipped one's name, or the path of a YAML file seen from `base`.

    None for anything else. The name may come from a file, so only these two readings of it are ever tried.
    """
    top, _, below = folder.partition("/")
    if _NAME.fullmatch(name):
        found = shipped(top) / below / f"{name}.yaml"
        return found if found.is_file() else None
    try:
        found = base / name
        return found if found.suffix in _ENDINGS and found.is_file() else None
    except (OSError, ValueError):
        return None


def is_shipped(path: Path) -> bool:
    """Whether a file is one of the project's own, which its tests have checked."""
    return any(path.is_relative_to(shipped(folder)) for folder in ("flows", "scenarios"))
