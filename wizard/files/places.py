"""Where the shipped files are, and where a name in a file leads; the only module that knows."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped(folder: str) -> Path:
    """A shipped folder, `flows` or `scenarios`: inside the installed package, or beside it in a checkout."""
    installed = _PACKAGE / "shipped" / folder
    return installed if installed.is_dir() else _PACKAGE.parent / folder


def shipped_names(folder: str) -> list[str]:
    """Names of the YAML files in a shipped folder, without their ending."""
    return sorted(path.stem for path in shipped(folder).glob("*.yaml"))
