"""What is typed at the intake: lengths and sizes as they are written in the trade, and the map they belong to."""

from __future__ import annotations

from pathlib import Path

import pytest
from driven import Bay, Open

from wizard.ui.ask_text import AskText
from wizard.ui.intake import IntakeScreen

MAPS = Path(__file__).parents[2] / "flows" / "circuits"


def changes(bay: Bay) -> dict[str, tuple[float | None, str]]:
    screen = next(s for s in bay.app.screen_stack if isinstance(s, IntakeScreen))
    return {name: (c.length_m, str(c.size)) for name, c in screen.intake.complaint.changes.parts.items()}


# The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
@pytest.mark.parametrize(
    ("typed", "length_m", "size"),
    [
        ("1,9 m, 25 mm2", 1.9, "25 mm2"),
        ("1,9 m 25 mm2", 1.9, "25 mm2"),
        ("1.4 m; 25 mm2", 1.4, "25 mm2"),
        ("55 in, 2 AWG", 55 * 0.0254, "2 AWG"),
        ("2 m, 1/0 AWG", 2.0, "1/0 AWG"),
    ],
)
async def test_length_and_size_with_a_decimal_comma_or_a_point(
    bay: Open, typed: str, length_m: float, size: str
) -> None:
    async with bay() as driven:
        await driven.press("n", "down", "down", "enter")
        await driven.type("positive")
        await driven.type(typed)
        assert changes(driven) == {"positive-cable": (pytest.approx(length_m), size)}


@pytest.mark.parametrize("typed", ["1,9", "1,9, 25", "long, thick"])
async def test_what_is_no_length_and_size_says_how_to_write_one(bay: Open, typed: str) -> None:
    async with bay() as driven:
        await driven.press("n", "down", "down", "enter")
        await driven.type("positive")
        await driven.type(typed)
        assert isinstance(driven.app.screen, AskText)
        assert "1.9 m, 25 mm2" in driven.shown()
        assert changes(driven) == {}


async def test_each_circuit_says_what_it_is_and_its_volts(bay: Open) -> None:
    async with bay() as driven:
        await driven.press("n")
        assert "Battery beside the engine, 12 V" in driven.shown()
        await driven.press("down", "enter")
        lines = driven.shown().splitlines()
        assert any("12 V  Battery beside the engine" in line for line in lines)
        assert any("12 V  Battery away from the engine, with an isolator" in line for line in lines)
        assert sum(line.strip().startswith("12 V  ") for line in lines) == len(list(MAPS.glob("*.yaml")))


async def test_a_map_of_ones_own_is_taken_from_its_file(bay: Open, tmp_path: Path) -> None:
    own = tmp_path / "own.yaml"
    text = (MAPS / "front-battery.yaml").read_text().replace("circuit: front-battery", "circuit: own")
    own.write_text(text.replace("system_v: 12", "system_v: 24"))
    async with bay() as driven:
        await driven.press("n", "down", "enter")
        await driven.type("own")
        await driven.type(str(tmp_path / "not-there.yaml"))
        assert "there is no circuit map" in driven.shown()
        driven.app.screen.query_one("Input").value = str(own)  # pyright: ignore[reportAttributeAccessIssue]
        await driven.press("enter")
        assert "Battery beside the engine, 24 V" in driven.shown()
