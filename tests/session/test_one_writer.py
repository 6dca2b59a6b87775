"""Several threads and processes change one session file at once: nothing is lost."""

from __future__ import annotations

import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from oralquiz.judge.verdict import Verdict
from oralquiz.session.correction import correct
from oralquiz.session.erasing import ERASED, erase_from_session, erase_voices
from oralquiz.session.file import Session, open_session
from oralquiz.session.folder_lock import BeingHeld, only_writer
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T09:00:00+00:00"
CORRECTOR = """
import sys
from pathlib import Path
from oralquiz.judge.verdict import Verdict
from oralquiz.session.correction import correct
print("ready", flush=True)
input()
for value in range(int(sys.argv[2]), int(sys.argv[2]) + 5):
    correct(Path(sys.argv[1]), 0, Verdict.WRONG, by="other", when="2026-01-05", value=value)
    print(value, flush=True)
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    two = make_round("1 + 2", pupil="Asha").turns + make_round("3 + 4", pupil="Ben").turns
    round_ = make_round("1 + 2")
    file, _, _ = run(tmp_path / "s", type(round_)(round_.name, WHEN, two), [3, 9])
    return file


def ear(session: Session) -> list[int | None]:
    """The numbers by which the first sum was corrected, in order."""
    return [correction.value for correction in session.turns[0].corrections]


def test_all_corrections_of_two_processes_and_two_threads_are_in_the_file(path: Path) -> None:
    voice = open_session(path).audio.copy()
    with subprocess.Popen(
        [sys.executable, "-c", CORRECTOR, str(path), "100"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        assert other.stdout.readline() == "ready\n"
        other.stdin.write("\n")
        other.stdin.flush()

        def five(first: int) -> None:
            for value in range(first, first + 5):
                correct(path, 0, Verdict.WRONG, by="t", when=WHEN, value=value)

        with ThreadPoolExecutor(2) as pool:
            list(pool.map(five, (200, 300)))
        reported = other.stdout.read().split()
    session = open_session(path)
    assert sorted(reported) == ["100", "101", "102", "103", "104"]
    assert sorted(value for value in ear(session) if value) == [
        *range(100, 105),
        *range(200, 205),
        *range(300, 305),
    ]
    assert (session.audio == voice).all()
    assert session.damage == ""
    assert [p.name for p in path.parent.iterdir()] == ["s.zip"]


def test_erasing_beside_correcting_wins_and_no_correction_is_lost(path: Path) -> None:
    """The erased pupil never comes back, whichever began first."""
    with ThreadPoolExecutor(3) as pool:
        corrections = [
            pool.submit(correct, path, 0, Verdict.WRONG, by="t", when=WHEN, value=value)
            for value in range(50, 58)
        ]
        erased = pool.submit(erase_from_session, path, "Ben")
        forgotten = pool.submit(erase_voices, path)
        for done in corrections:
            done.result()
        assert erased.result()
        forgotten.result()
    session = open_session(path)
    assert [turn.pupil for turn in session.round.turns] == ["Asha", ERASED]
    assert not any("Ben" in event.encode() for event in session.events)
    assert sorted(value for value in ear(session) if value) == list(range(50, 58))
    assert not session.audio[:, 1].any()


def test_a_writer_that_waits_in_vain_is_told(path: Path) -> None:
    with (
        only_writer(path),
        pytest.raises(BeingHeld, match=r"s\.zip: another program is changing this session"),
        only_writer(path, wait_s=0),
    ):
        pass
    with only_writer(path):
        assert [p.name for p in path.parent.iterdir() if p.suffix == ".lock"] == [".s.zip.lock"]
    assert [p.name for p in path.parent.iterdir()] == ["s.zip"]


def test_only_one_at_a_time_is_inside(tmp_path: Path) -> None:
    """The lock's file is removed each time: a writer that waited for the old one must not get
    in."""
    inside, most = 0, 0
    count = threading.Lock()

    def enter(_: int) -> None:
        nonlocal inside, most
        for _ in range(50):
            with only_writer(tmp_path / "s.zip"):
                with count:
                    inside += 1
                    most = max(most, inside)
                with count:
                    inside -= 1

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(enter, range(4)))
    assert most == 1
    assert list(tmp_path.iterdir()) == []
