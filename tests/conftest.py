"""How the suite is spread over processes, and what the markers mean (see pyproject.toml).

A file's tests stay together, since they share what is slow to make. Tests in real time, with a
browser or a sound card, mostly wait: two processes begin with them, at the usual priority, and the
others, which compute, give way to those two.
"""

from __future__ import annotations

import gc
import os

# before numpy is imported: its threads for products wait by spinning, which can cost several
# processes on few cores twenty times the time
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadFileScheduling
from xdist.workermanage import WorkerController

from tests.sizes import size

# no test has a deadline: a machine shared with other work may be ten times slower
settings.register_profile(
    "untimed",
    deadline=None,
    max_examples=size(40, 100),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("untimed")

# until all tests are collected: what is made till then stays to the end, and looking through it
# for garbage again and again would take a third of that time
gc.disable()

# where the tests in real time are
REAL_TIME = ("tests/browser/", "tests/audio/test_sound_card.py", "tests/session/test_live.py")
IN_REAL_TIME = ("gw0", "gw1")  # how many processes begin with those


def pytest_itemcollected(item: pytest.Item) -> None:
    if "/browser/" in item.path.as_posix():
        item.add_marker(pytest.mark.browser)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        marked = any(item.get_closest_marker(name) for name in ("browser", "sound"))
        if marked != item.nodeid.startswith(REAL_TIME):
            raise pytest.UsageError(f"{item.nodeid}: marked {marked}, see REAL_TIME in conftest.py")


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.enable()


def pytest_configure() -> None:
    if os.environ.get("PYTEST_XDIST_WORKER", IN_REAL_TIME[0]) not in IN_REAL_TIME:
        os.nice(10)


def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: each process imports every test, which takes it ten
    seconds."""
    return max(len(IN_REAL_TIME), os.cpu_count() or 1) + 1


class RealTimeFirst(LoadFileScheduling):  # type: ignore[misc]
    """Gives two of the processes the real-time files and the others the rest, until either runs
    out."""

    def _assign_work_unit(self, node: WorkerController) -> None:
        wanted = node.gateway.id in IN_REAL_TIME
        for scope in self.workqueue:
            if scope.startswith(REAL_TIME) == wanted:
                self.workqueue.move_to_end(scope, last=False)
                break
        super()._assign_work_unit(node)


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> RealTimeFirst:
    return RealTimeFirst(config, log)


@pytest.fixture(autouse=True)
def asked_by_no_chance(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether a right answer is asked about depends on the sum and on every detail of the sound.
    In real time no sound is heard twice alike, and a class draws other sums each time: there,
    none is asked about. Tests of given sums, without a device, draw as rounds do."""
    live = any(request.node.get_closest_marker(name) for name in ("browser", "sound"))
    if live or request.path.parent.name == "web":
        monkeypatch.setattr("oralquiz.judge.verdict.drawn", lambda hearing: 1.1)
