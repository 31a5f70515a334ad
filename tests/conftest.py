"""Both shipped circuits, each with everything that a job on it is judged by."""

import pytest

from tests.vehicles import desk
from wizard.files.shelf import circuit_names
from wizard.walk.desk import Desk


@pytest.fixture(params=circuit_names())
def any_desk(request: pytest.FixtureRequest) -> Desk:
    """The desk of each shipped map in turn."""
    return desk(request.param)


@pytest.fixture
def remote_desk() -> Desk:
    return desk("remote-battery")


@pytest.fixture
def front_desk() -> Desk:
    return desk("front-battery")
