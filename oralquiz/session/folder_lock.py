"""The lock on a session's folder: whoever has it may write there, and nobody else.

A running round has it. The operating system frees it when its process ends, however it ends, so
a folder whose lock can be had belongs to a round that was cut short.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from oralquiz.errors import OralquizError, SessionFileError
from oralquiz.session.archive import MOST

LOCK = "lock"
"""The locked file inside the folder. It is empty, and goes with the folder."""

HEAD = "session.json"
"""What makes a folder a session: written after the lock is there, removed before it goes."""

SMALLER = "audio.part"
"""The sound while it is encoded again; a crash may leave it."""

NEW = ".new-"
"""How the name of a folder begins in which a session is written anew; a crash may leave it."""

BEGIN_S = 2.0
"""Seconds a new round waits for who only looks whether its folder is held."""


class BeingHeld(OralquizError):
    """The round of this folder is still being held, by this process or another."""


def lock(folder: Path, wait_s: float = 0.0) -> FileLock:
    """Lock ``folder``, waiting so long for it. Any thread may release what comes back.

    Raises BeingHeld when it is locked already, OSError where nothing can be locked.
    """
    held = FileLock(folder / LOCK, timeout=wait_s, thread_local=False)
    try:
        held.acquire()
    except Timeout:
        raise BeingHeld(f"{folder}: this round is being held now") from None
    return held


def is_held(folder: Path) -> bool:
    """Whether the round of ``folder`` is being held now. Raises OSError if nobody can tell."""
    if not (folder / LOCK).exists():
        return False
    try:
        lock(folder).release()
    except BeingHeld:
        return True
    return False


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Nobody else writes in ``folder``, a session's, within this. It may be discarded there.

    Raises BeingHeld, and SessionFileError for a folder that is no session (any more).
    """
    _session_in(folder)
    held = lock(folder)
    try:
        _session_in(folder)  # a round may have ended between the two
        yield
    finally:
        let_go(folder, held)


def let_go(folder: Path, held: FileLock) -> None:
    """Release ``folder``, and remove it if it was discarded and nothing of others is in it."""
    held.release()
    if not (folder / HEAD).exists():
        with suppress(OSError):  # some systems free a file late: an empty folder is left
            (folder / LOCK).unlink(missing_ok=True)
            folder.rmdir()


def discard(folder: Path) -> None:
    """Remove the parts of a locked folder, so that it is no session any more.

    Files that are not ours stay. The folder itself goes with ``let_go``: a file that is open
    cannot be removed everywhere.
    """
    (folder / HEAD).unlink(missing_ok=True)
    for name in (*MOST, SMALLER):
        (folder / name).unlink(missing_ok=True)
    for unfinished in folder.glob(f"{NEW}*"):
        shutil.rmtree(unfinished)


def _session_in(folder: Path) -> None:
    if not (folder / HEAD).is_file():
        raise SessionFileError(f"{folder}: there is no session in this folder")
