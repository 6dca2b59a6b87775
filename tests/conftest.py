"""How the suite is spread over processes, and what the markers mean (see pyproject.toml).

A file's tests stay together, since they share what is slow to make. What happens in real time,
with a browser or a sound card, happens one at a time, whichever process it is in: two such tests
at once would only make each other late.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

# no test is timed: a machine beside which others work may be ten times slower
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

REAL_TIME = ("browser", "sound")


def pytest_itemcollected(item: pytest.Item) -> None:
    if "/browser/" in item.path.as_posix():
        item.add_marker(pytest.mark.browser)


@pytest.fixture(autouse=True)
def alone_in_real_time(request: pytest.FixtureRequest) -> Iterator[None]:
    """Wait until no other process of this run has a test that happens in real time."""
    if not any(request.node.get_closest_marker(name) for name in REAL_TIME):
        yield
        return
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID", str(os.getpid()))
    with FileLock(Path(tempfile.gettempdir()) / f"oralquiz-real-time-{run}.lock"):
        yield
