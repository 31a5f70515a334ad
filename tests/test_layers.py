"""The layers of the house, as the import contracts in pyproject.toml have them."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def test_nothing_imports_upward():
    linter = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    if linter is None:
        pytest.skip("import-linter is not installed; it comes with the extra `dev`")
    done = subprocess.run([linter, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "3 kept, 0 broken" in done.stdout
