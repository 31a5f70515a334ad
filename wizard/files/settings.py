"""How the user wants the screens: a small YAML file in the user's configuration directory."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path

from wizard.circuit.map import Checked
from wizard.diagnosis.priors import Meter
from wizard.errors import DropwalkError

ENVIRONMENT = "DROPWALK_SETTINGS"


class Way(StrEnum):
    """How the wizard leads: along the flow, or to the reading that tells most."""

    WALK = "walk"
    FASTEST = "fastest"


class Light(StrEnum):
    """Colours for a dim bay or for sunlight."""

    DARK = "dark"
    LIGHT = "light"


class Units(StrEnum):
    """Lengths and temperatures as they are shown; volts and amps are the same everywhere."""

    METRIC = "metric"
    INCH = "inch"


class Layout(StrEnum):
    """`large` shows the step alone with big figures; `spoken` is lines of words, to be read aloud."""

    USUAL = "usual"
    LARGE = "large"
    SPOKEN = "spoken"


class Settings(Checked):
    """Everything that can be set. `meter` is the accuracy of the user's own meter, None for a usual one."""

    plan: Way = Way.WALK
    light: Light = Light.DARK
    units: Units = Units.METRIC
    layout: Layout = Layout.USUAL
    bell: bool = False
    tour_seen: bool = False
    meter: Meter | None = None


class SettingsFile(Checked):
    """The file: one key, so that it can be told from every other kind."""

    settings: Settings


def settings_path() -> Path:
    """Where the settings are kept: `DROPWALK_SETTINGS`, or a file in the user's configuration directory."""
    if named := os.environ.get(ENVIRONMENT):
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_config_dir("dropwalk", appauthor=False)) / "settings.yaml"


def read_settings(path: Path) -> Settings:
    """The settings in this file, or the usual ones where there is no file. Raises BadFile."""
    if not path.exists():
        return Settings()
    from wizard.files.plainwords import checked
    from wizard.files.yamltext import read_document

    return checked(read_document(path), SettingsFile).settings


def write_settings(path: Path, settings: Settings) -> None:
    """Keep these settings; the file is replaced whole, so it is never half written. Raises DropwalkError."""
    lines = ["# Written by dropwalk; `dropwalk check` names what is wrong in it.", "settings:"]
    for name, value in settings.model_dump(mode="json", exclude_none=True, exclude={"meter"}).items():
        lines.append(f"  {name}: {str(value).lower()}")
    if settings.meter is not None:
        figures = ", ".join(f"{name}: {value:g}" for name, value in settings.meter.model_dump().items())
        lines.append(f"  meter: {{{figures}}}")
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_text("\n".join(lines) + "\n", encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        if beside.is_file():
            beside.unlink()
        raise DropwalkError(f"the settings can't be kept in {path}: {error.strerror or error}") from None
