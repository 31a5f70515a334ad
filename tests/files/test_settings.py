"""The settings file: what is kept is read again, and what is wrong in it is named with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wizard.diagnosis.priors import Meter
from wizard.errors import BadFile, DropwalkError
from wizard.files import shelf
from wizard.files.settings import Layout, Light, Settings, Units, Way, read_settings, settings_path, write_settings
from wizard.files.yamltext import read_document

ANY = st.builds(
    Settings,
    plan=st.sampled_from(Way),
    light=st.sampled_from(Light),
    units=st.sampled_from(Units),
    layout=st.sampled_from(Layout),
    bell=st.booleans(),
    tour_seen=st.booleans(),
    meter=st.none() | st.builds(Meter, share=st.sampled_from([0.0, 0.01]), volts=st.sampled_from([0.001, 0.02])),
)


@given(ANY)
def test_what_is_kept_is_read_again_and_check_takes_it(
    tmp_path_factory: pytest.TempPathFactory, kept: Settings
) -> None:
    path = tmp_path_factory.mktemp("kept") / "below" / "settings.yaml"
    write_settings(path, kept)
    assert read_settings(path) == kept
    document = read_document(path)
    assert shelf.kind_of(document) is shelf.Kind.SETTINGS
    shelf.check_table(document, shelf.Kind.SETTINGS)
    assert [file.name for file in path.parent.iterdir()] == ["settings.yaml"]


def test_without_a_file_the_usual_ones_hold(tmp_path: Path) -> None:
    assert read_settings(tmp_path / "none.yaml") == Settings()


@pytest.mark.parametrize(
    ("text", "place", "message"),
    [
        ("settings:\n  plan: quick\n", (2, 3), "walk"),
        ("settings:\n  colour: red\n", (2, 3), "colour"),
        ("settings:\n  meter: {share: 2}\n", (2, 11), "at most"),
    ],
)
def test_a_wrong_setting_is_named_with_its_place(
    tmp_path: Path, text: str, place: tuple[int, int], message: str
) -> None:
    path = tmp_path / "settings.yaml"
    path.write_text(text)
    with pytest.raises(BadFile, match=message) as wrong:
        read_settings(path)
    problem = wrong.value.problems[0]
    assert (problem.line, problem.column) == place


def test_a_place_that_can_not_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(DropwalkError, match="can't be kept"):
        write_settings(tmp_path / "file" / "settings.yaml", Settings())


def test_the_environment_names_another_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("DROPWALK_SETTINGS", str(tmp_path / "own.yaml"))
    assert settings_path() == tmp_path / "own.yaml"
