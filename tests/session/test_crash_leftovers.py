"""What a crash leaves in the sessions folder is found and removed, and nothing else is."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.pupil_list import add_pupil
from oralquiz.session.crash_leftovers import leftovers, remove_leftover
from oralquiz.session.folder_lock import lock, only_writer, rewriting
from oralquiz.session.recorder import pack
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

DISCARDER = """
import os, signal, sys
from pathlib import Path
from oralquiz.rounds.events import RoundEnded
from oralquiz.session.recorder import FileRecorder
unlink, left = Path.unlink, [int(sys.argv[2])]
def kill(self, missing_ok=False):
    if not left[0]:
        os.kill(os.getpid(), signal.SIGKILL)
    left[0] -= 1
    unlink(self, missing_ok)
Path.unlink = kill
recorder = FileRecorder(Path(sys.argv[1]), {"of": "Asha"})
recorder.event(0, RoundEnded("Asha", 0))
recorder.discard()
"""


@pytest.mark.parametrize("steps", range(1, 5))
def test_a_round_that_was_killed_while_it_was_discarded(tmp_path: Path, steps: int) -> None:
    folder = tmp_path / "sessions" / "s"
    command = [sys.executable, "-c", DISCARDER, str(folder), str(steps)]
    assert subprocess.run(command, check=False).returncode == -signal.SIGKILL
    assert leftovers(folder.parent) == [folder]
    db = open_records(tmp_path / "records.db")
    add_pupil(db, "Asha", created="2026-01-05T09:00:00+00:00")
    erased = erase_pupil(db, "Asha", folder.parent)
    assert (erased.missing, erased.unreadable) == ((), ())
    assert list(folder.parent.iterdir()) == []


def test_what_was_being_rewritten_when_its_process_was_killed(tmp_path: Path) -> None:
    whole, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3])
    made = tmp_path / "made"
    with zipfile.ZipFile(whole) as parts:
        parts.extractall(made)
    with only_writer(whole), rewriting(whole) as new:
        shutil.copytree(made, new, dirs_exist_ok=True)
        copy = Path(shutil.copytree(new, tmp_path / "kept"))
        part = new.with_name(".s.zip-abc.part")
        part.write_bytes(b"a voice")
        assert leftovers(tmp_path) == []  # somebody is working on it
        left = new.name
    shutil.copytree(copy, tmp_path / left)
    shutil.rmtree(copy)
    (tmp_path / "s.zip.part").write_bytes(b"as older versions left it")
    found = leftovers(tmp_path)
    assert {path.name for path in found} == {left, part.name, "s.zip.part"}
    for path in found:
        remove_leftover(path)
    assert {path.name for path in tmp_path.iterdir()} == {"s.zip", "made"}


def test_what_is_not_a_leftover_stays(tmp_path: Path) -> None:
    cut, _, _ = run(tmp_path / "cut", make_round("1 + 2"), [3])
    with zipfile.ZipFile(cut) as parts:
        parts.extractall(tmp_path / "cut")
    cut.unlink()
    (tmp_path / "notes").mkdir()
    (tmp_path / "notes" / "audio.flac").write_bytes(b"")
    (tmp_path / "notes" / "mine.txt").write_text("not a part of a session")
    (tmp_path / "empty").mkdir()
    beginning = tmp_path / "beginning"
    beginning.mkdir()
    held = lock(beginning)
    assert leftovers(tmp_path) == []
    held.release()
    assert leftovers(tmp_path) == [beginning]


@pytest.mark.skipif(os.name != "posix", reason="permissions work differently here")
def test_nobody_else_reads_a_session(tmp_path: Path) -> None:
    old = os.umask(0o000)
    try:
        path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3])
        assert path.stat().st_mode & 0o077 == 0
        made = tmp_path / "made"
        with zipfile.ZipFile(path) as parts:
            parts.extractall(made)
        assert pack(made, tmp_path / "again.zip").stat().st_mode & 0o077 == 0
    finally:
        os.umask(old)
