"""Where the tool keeps things on this machine (platformdirs: each system's own place)."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import platformdirs

HOME_VARIABLE = "ORALQUIZ_HOME"
"""Environment variable that puts everything under one folder instead (a stick, a test)."""


def data_folder() -> Path:
    """Records and session files: what must not be lost."""
    return _folder("data", platformdirs.user_data_path("oralquiz", appauthor=False))


def sessions_folder() -> Path:
    """One file for every round held here."""
    return data_folder() / "sessions"


def cache_folder() -> Path:
    """Rendered clips and other things that can be made again."""
    return _folder("cache", platformdirs.user_cache_path("oralquiz", appauthor=False))


def _folder(name: str, usual: Path) -> Path:
    home = os.environ.get(HOME_VARIABLE)
    return Path(home) / name if home else usual


def private_folder(path: Path) -> Path:
    """``path`` as a folder that no other user of this computer can look into, made if it is not
    there (and so are the folders around it, as the XDG Base Directory Specification has it).

    One of ours that others could look into is closed to them; any other that is there stays as it
    is: somebody may have chosen that. Raises OSError.
    """
    if not path.is_dir():
        if path.parent != path:
            private_folder(path.parent)
        path.mkdir(mode=0o700, exist_ok=True)
    elif _is_ours(path) and path.stat().st_mode & 0o077:
        with contextlib.suppress(PermissionError):  # somebody else's: we only use it
            path.chmod(path.stat().st_mode & 0o700)
    return path


def _is_ours(path: Path) -> bool:
    """Whether ``path`` is one of this program's own folders or inside one."""
    whole = path.absolute()
    return any(whole.is_relative_to(one.absolute()) for one in (data_folder(), cache_folder()))


def private_file(path: Path) -> Path:
    """``path`` as a file that no other user of this computer can read, from its first byte on.

    It is made, empty, if it is not there; one of ours that others could read is closed to them. One
    that is there is not opened: to close it again would free whatever locks this process has on it,
    SQLite's among them (sqlite.org/howtocorrupt.html, section 2.2). Raises OSError.
    """
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))
    if path.stat().st_mode & 0o077:
        path.chmod(0o600)
    return path


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A file beside ``path``, for this user only, to be written in this block and then put in its
    place: whole or not at all. When the block fails, what was written is removed. Raises OSError.
    """
    opened, name = tempfile.mkstemp(prefix=f".{path.name}-", suffix=".part", dir=path.parent)
    os.close(opened)
    part = Path(name)
    try:
        yield part
        part.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def write_private(path: Path, data: bytes) -> None:
    """``data`` as the file ``path``, which only this user can read; whole or not at all."""
    private_folder(path.parent)
    with replacing(path) as part:
        part.write_bytes(data)
