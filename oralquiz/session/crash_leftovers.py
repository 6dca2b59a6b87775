"""What crashes left in a folder of sessions that no session will ever need: found and removed."""

from __future__ import annotations

import re
import shutil
from contextlib import suppress
from pathlib import Path

from oralquiz.session.archive import MOST
from oralquiz.session.folder_lock import (
    HEAD,
    LOCK,
    NEW,
    SMALLER,
    BeingHeld,
    discard,
    is_held,
    let_go,
    lock,
    only_writer,
)

OURS = {*MOST, SMALLER, LOCK}


def leftovers(sessions: Path) -> list[Path]:
    """What in ``sessions`` a crash left and nobody is working on, in order.

    That is a folder that was a session until its parts were being removed, and a session that was
    being written anew or copied. They may hold names and voices. A round that was cut short is not
    one of them: see ``cut_short``.
    """
    if not sessions.is_dir():
        return []
    inside = sessions.resolve()
    return sorted(path for path in inside.iterdir() if _is_leftover(path))


def _is_leftover(path: Path) -> bool:
    if path.is_symlink():
        return False
    if path.name.startswith(NEW) or path.suffix in (".part", ".lock"):
        return not _in_use(path)
    return path.is_dir() and _was_session(path) and not _held(path)


def _was_session(folder: Path) -> bool:
    """Whether all that is in ``folder`` are parts of a session, but not what makes it one."""
    names = {path.name for path in folder.iterdir()}
    return HEAD not in names and bool(names) and all(_ours(name) for name in names)


def _ours(name: str) -> bool:
    return name in OURS or name.startswith(NEW)


def _held(folder: Path) -> bool:
    try:
        return is_held(folder)
    except OSError:
        return True  # nobody can tell


def _in_use(path: Path) -> bool:
    """Whether the session whose new form lies at ``path`` is being written now."""
    session = _session_of(path)
    if session is None:
        return False
    if _held(session.with_suffix("")):  # a round that is just being packed
        return True
    try:
        with only_writer(session, wait_s=0):
            return False
    except (BeingHeld, OSError):
        return True


def _session_of(path: Path) -> Path | None:
    """The session file that ``path`` was to become; None where its name does not say."""
    bare = path.name.removeprefix(NEW).lstrip(".")
    found = re.match(r"(?P<name>.+\.zip)(?=$|[-.])", bare)
    return path.with_name(found["name"]) if found else None


def remove_leftover(path: Path) -> None:
    """Remove what ``leftovers`` found, unless somebody is working on it by now. Raises OSError."""
    if not path.is_dir():
        path.unlink(missing_ok=True)
    elif path.name.startswith(NEW):
        shutil.rmtree(path)
    else:
        with suppress(BeingHeld):
            held = lock(path)
            discard(path)
            let_go(path, held)
