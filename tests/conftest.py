"""How the suite is spread over processes, and what the markers mean (see pyproject.toml).

A file's tests stay together, since they share what is slow to make. What happens in real time,
with a browser or a sound card, mostly waits: two processes begin with it, at the usual priority,
and the others, which compute, give way to them.
"""

from __future__ import annotations

import os

# before numpy comes: its threads for products wait by spinning, which several processes on few
# cores pay for twenty times over
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadFileScheduling
from xdist.workermanage import WorkerController

# no test is timed: a machine beside which others work may be ten times slower
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

# where the tests are that happen in real time
REAL_TIME = ("tests/browser/", "tests/audio/test_sound_card.py", "tests/session/test_live.py")
IN_REAL_TIME = ("gw0", "gw1")  # the processes that begin with those


def pytest_itemcollected(item: pytest.Item) -> None:
    if "/browser/" in item.path.as_posix():
        item.add_marker(pytest.mark.browser)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        marked = any(item.get_closest_marker(name) for name in ("browser", "sound"))
        if marked != item.nodeid.startswith(REAL_TIME):
            raise pytest.UsageError(f"{item.nodeid}: marked {marked}, see REAL_TIME in conftest.py")


def pytest_configure() -> None:
    if os.environ.get("PYTEST_XDIST_WORKER", IN_REAL_TIME[0]) not in IN_REAL_TIME:
        os.nice(10)


def pytest_xdist_auto_num_workers() -> int:
    """Two that mostly wait, beside as many as there are cores."""
    return len(IN_REAL_TIME) + (os.cpu_count() or 1)


class RealTimeFirst(LoadFileScheduling):  # type: ignore[misc]
    """Gives two of the processes the files in real time, the others the rest, while both last."""

    def _assign_work_unit(self, node: WorkerController) -> None:
        wanted = node.gateway.id in IN_REAL_TIME
        for scope in self.workqueue:
            if scope.startswith(REAL_TIME) == wanted:
                self.workqueue.move_to_end(scope, last=False)
                break
        super()._assign_work_unit(node)


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> RealTimeFirst:
    return RealTimeFirst(config, log)
