from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from oralquiz.web.classroom import Classroom
from tests.web.room import client_of, make_classroom, make_pupils


@pytest.fixture
def classroom(tmp_path: Path) -> Classroom:
    return make_classroom(tmp_path)


@pytest.fixture
def teacher(classroom: Classroom) -> Iterator[TestClient]:
    """The teacher's browser on this computer; the classroom lives as long as this browser does."""
    with client_of(classroom) as client:
        assert client.portal is not None
        client.portal.call(make_pupils, classroom, "Asha Rao", "Ben")
        yield client
        client.portal.call(classroom.close)


def browser(classroom: Classroom, like: TestClient, host: str = "127.0.0.1") -> TestClient:
    """Another browser at the same server, on the same loop as ``like``."""
    other = client_of(classroom, host=host)
    other.portal = like.portal
    return other
