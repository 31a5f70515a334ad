"""The shipped circuits, as each test wants them."""

from __future__ import annotations

from pathlib import Path

import pytest

from wizard.circuit.circuit import Circuit
from wizard.files.shelf import circuit_map, circuit_names


@pytest.fixture(params=circuit_names())
def circuit(request: pytest.FixtureRequest) -> Circuit:
    """Each shipped map's healthy circuit at 20 C."""
    return Circuit.of(circuit_map(request.param, Path()))


@pytest.fixture
def front() -> Circuit:
    return Circuit.of(circuit_map("front-battery", Path()))


@pytest.fixture
def remote() -> Circuit:
    return Circuit.of(circuit_map("remote-battery", Path()))
