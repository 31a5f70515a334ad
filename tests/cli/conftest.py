import pytest
from click.testing import CliRunner

from wizard.cli import cli


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command in a folder of its own, with a store of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DROPWALK_STORE", str(tmp_path / "jobs.sqlite3"))

    def call(*words):
        return CliRunner().invoke(cli, [str(word) for word in words], prog_name="dropwalk", catch_exceptions=False)

    return call
