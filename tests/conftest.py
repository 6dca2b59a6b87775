"""How the suite is spread over processes, and what the markers mean (see pyproject.toml).

A file's tests stay together, since they share what is slow to make. Everything that happens in
real time, with a browser or a sound card, is one group: two such tests at once would only make
each other late.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# no test is timed: a machine beside which others work may be ten times slower
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

REAL_TIME = ("browser", "sound")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)
        real_time = any(item.get_closest_marker(name) for name in REAL_TIME)
        group = "real time" if real_time else str(item.path)
        item.add_marker(pytest.mark.xdist_group(group))
