from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from oralquiz.web.house import House
from tests.web.room import client_of, make_house, make_pupils


@pytest.fixture
def house(tmp_path: Path) -> House:
    return make_house(tmp_path)


@pytest.fixture
def teacher(house: House) -> Iterator[TestClient]:
    """The teacher's browser on this computer; the house lives as long as it."""
    with client_of(house) as client:
        assert client.portal is not None
        client.portal.call(make_pupils, house, "Asha Rao", "Ben")
        yield client
        client.portal.call(house.close)


def browser(house: House, like: TestClient, host: str = "127.0.0.1") -> TestClient:
    """Another browser at the same server, on the same loop as ``like``."""
    other = client_of(house, host=host)
    other.portal = like.portal
    return other
