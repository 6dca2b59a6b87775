"""Rounds that were cut short: their folders become session files, as if they had been finished."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from oralquiz.errors import BadInput
from oralquiz.session.archive import read_parts
from oralquiz.session.file import Session, open_session
from oralquiz.session.folder_lock import HEAD, discard, is_held, locked, only_writer, rewriting
from oralquiz.session.recorder import pack, packed_as, write_parts
from oralquiz.sound import SESSION_RATE

UNHEARD = SESSION_RATE
"""Samples by which the sound may end before the last event without being mentioned: a crash costs
less (see recorder.QUICK), a power cut can cost more."""


@dataclass(frozen=True)
class Recovered:
    """The session file that was made of a folder, and how much sound was ``lost``, in words."""

    file: Path
    lost: str


def session_folders(sessions: Path) -> list[Path]:
    """The sessions in ``sessions`` that are not files yet: rounds still running or cut short."""
    if not sessions.is_dir():
        return []
    return sorted(
        path
        for path in sessions.iterdir()
        if not path.name.startswith(".") and not path.is_symlink() and (path / HEAD).is_file()
    )


def cut_short(sessions: Path) -> list[Path]:
    """The rounds in ``sessions`` that nobody holds and that never became a file."""
    found = []
    for folder in session_folders(sessions):
        with suppress(OSError):  # nobody can tell: leave it
            if not is_held(folder):
                found.append(folder)
    return found


def recover(folder: Path) -> Recovered:
    """Pack the round cut short in ``folder`` as ``folder.zip``, and remove the folder.

    Everything that can be read is kept as the recorder would have; no end is made up. A line that
    the crash cut is dropped; where whole lines of the log cannot be read, they go along as they
    are. Raises BeingHeld while the round is running, SessionFileError for what is not a session,
    BadInput where another session has the name, OSError when it cannot be written; the folder then
    stays.
    """
    with locked(folder):
        session = open_session(folder)
        target = packed_as(folder)
        with only_writer(target):
            if not target.exists():
                _pack(folder, session, target)
            # else the crash came when it was already packed
            elif open_session(target).header["id"] != session.header["id"]:
                raise BadInput(f"{folder}: {target.name} beside it is another session: rename one")
        discard(folder)
    missing = _missing(session)
    lost = f"the last {missing / SESSION_RATE:.0f} s of sound are lost" if missing else ""
    return Recovered(target, lost)


def _missing(session: Session) -> int:
    """Samples of sound that are not there though something happened in them."""
    missing = session.events[-1].at - len(session.audio) if session.events else 0
    return missing if missing > UNHEARD else 0


def _pack(folder: Path, session: Session, target: Path) -> None:
    raw = read_parts(folder).content
    with rewriting(folder) as parts:
        write_parts(parts, session.header, session.events, session.audio)
        log = raw.get("events.jsonl", b"")
        if log.count(b"\n") > len(session.events):
            (parts / "events.jsonl").write_bytes(log)
        if _missing(session) and not len(session.audio):
            (parts / "audio.flac").write_bytes(raw.get("audio.flac", b""))
        pack(parts, target)
