"""The locks on sessions: only the holder of a session's lock may write it.

A running round has the lock of its folder. The operating system frees it when its process ends,
however it ends, so a folder whose lock is free belongs to a round that was cut short. A
finished file is locked for as long as one change takes: see ``only_writer``.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
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
"""What older versions encoded the sound into; a crash may have left it."""

NEW = ".new-"
"""How the names of folders begin in which a session is rewritten; a crash may leave one."""

BEGIN_S = 2.0
"""Seconds a new round waits for others who only look whether its folder is held."""


WAIT_S = 60.0
"""Seconds that a writer of a session file waits for another: each change takes a few."""

POLL_S = 0.005


class BeingHeld(OralquizError):
    """The round of this folder is still being held, by this process or another."""


def lock(folder: Path, wait_s: float = 0.0) -> FileLock:
    """Lock ``folder``, waiting up to ``wait_s`` for it. Any thread may release what comes back.

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
    """Keep others from writing in ``folder``, a session's, for this block, which may discard it.

    Raises BeingHeld, and SessionFileError for a folder that is not, or no longer, a session.
    """
    _session_in(folder)
    held = lock(folder)
    try:
        _session_in(folder)  # a round may have ended between the two
        yield
    finally:
        let_go(folder, held)


@contextmanager
def only_writer(path: Path, wait_s: float = WAIT_S) -> Iterator[None]:
    """Keep others from writing the session at ``path``, a file or a folder, for this block.

    For a file this holds among all threads and processes, whether it exists yet or not; whoever
    comes second waits. Not to be entered twice. Raises BeingHeld for a round that is being held,
    and when the wait is in vain; OSError where nothing can be written.
    """
    if path.is_dir():
        with locked(path):
            yield
        return
    beside = path.with_name(f".{path.name}.lock")
    until = time.monotonic() + wait_s
    while (release := _try_lock(beside)) is None:
        if time.monotonic() > until:
            raise BeingHeld(f"{path}: another program is changing this session; try again")
        time.sleep(POLL_S)
    try:
        yield
    finally:
        release()


if sys.platform == "win32":

    def _try_lock(beside: Path) -> Callable[[], None] | None:
        """Lock the file ``beside`` a session; returns what frees it, None when it is taken."""
        held = FileLock(beside, timeout=0, thread_local=False)
        try:
            held.acquire()
        except Timeout:
            return None

        def release() -> None:
            held.release()
            with suppress(OSError):  # another has it open already
                beside.unlink()

        return release

else:
    import fcntl

    def _try_lock(beside: Path) -> Callable[[], None] | None:
        """Lock the file ``beside`` a session; returns what frees it, None when it is taken.

        The file goes with the lock. Whoever then gets the lock of the removed file sees that
        another file, or none, has its name.
        """
        opened = os.open(beside, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
            there = beside.stat()
        except (BlockingIOError, FileNotFoundError):
            os.close(opened)
            return None
        except BaseException:
            os.close(opened)
            raise
        if not os.path.samestat(there, os.fstat(opened)):
            os.close(opened)
            return None

        def release() -> None:
            beside.unlink(missing_ok=True)
            os.close(opened)

        return release


def let_go(folder: Path, held: FileLock) -> None:
    """Release ``folder``, and remove it if it was discarded and holds nothing of anybody else's."""
    held.release()
    if not (folder / HEAD).exists():
        with suppress(OSError):  # some systems free a file late: an empty folder is left
            (folder / LOCK).unlink(missing_ok=True)
            folder.rmdir()


def discard(folder: Path) -> None:
    """Remove the parts of a locked folder, so that it is no longer a session.

    Files that are not ours stay. The folder itself goes with ``let_go``: a file that is open
    cannot be removed everywhere.
    """
    (folder / HEAD).unlink(missing_ok=True)
    for name in MOST:
        (folder / name).unlink(missing_ok=True)
    remove_unfinished(folder)


def remove_unfinished(folder: Path) -> None:
    """Remove from a locked folder what a crash left of a change that was not finished."""
    (folder / SMALLER).unlink(missing_ok=True)
    for unfinished in folder.glob(f"{NEW}*"):
        shutil.rmtree(unfinished)


@contextmanager
def rewriting(path: Path) -> Iterator[Path]:
    """A temporary folder in which the session at ``path`` is written anew."""
    inside, name = (path, "") if path.is_dir() else (path.parent, f"{path.name}-")
    with tempfile.TemporaryDirectory(prefix=f"{NEW}{name}", dir=inside) as new:
        yield Path(new)


def _session_in(folder: Path) -> None:
    if not (folder / HEAD).is_file():
        raise SessionFileError(f"{folder}: there is no session in this folder")
