"""Sessions that are not in the records yet: rounds cut short, and files from another computer."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from itertools import chain, count
from pathlib import Path

from sqlite_utils import Database

from oralquiz.compose import counted
from oralquiz.errors import BadInput
from oralquiz.folders import private_folder, replacing
from oralquiz.records.erasure import finish_erasing
from oralquiz.records.given_homework import check_homework, drop_voice
from oralquiz.records.session_rows import store_file
from oralquiz.records.unrecorded import unrecorded
from oralquiz.session import ERASED, MOST, Session, cut_short, only_writer, open_session, recover

LARGEST = sum(MOST.values())
"""The most bytes that a session file can have."""


@dataclass(frozen=True)
class Imported:
    """What came of one session: the ``file`` that the records know it by, whether it is ``new`` to
    them, how many ``answers`` of how many ``sums`` it holds, what of it cannot be read, and whether
    it was held ``at_home`` on a page, on a device that anyone may have changed."""

    file: Path
    new: bool
    answers: int
    sums: int
    damage: str
    at_home: bool = False


def import_session(db: Database, path: Path, folder: Path) -> Imported:
    """Put the session at ``path`` into the records, once.

    A round cut short becomes a session file first. A file from elsewhere is copied into
    ``folder``, where erasing and forgetting find it. A session that is already in the records stays
    as it is there; if its file is gone, this one takes its place. Raises BeingHeld for a round that
    is still running, BadInput for what is not a session and for a session whose pupils were all
    erased, AlteredSession for one held at home that is not what can have come of its page, OSError,
    sqlite3.Error.
    """
    lost = ""
    if path.is_dir():
        recovered = recover(path)
        path, lost = recovered.file, recovered.lost
    session = open_session(path)
    check_homework(db, path, session)
    named = _named(session)
    known = _file_of(db, session.header["id"])
    if known is not None and known.exists() and not known.samefile(path):
        kept = known
    else:
        kept = path if path.resolve().parent == folder.resolve() else _copied(path, folder)
        drop_voice(db, kept, session)
        session = store_file(db, kept)
    return Imported(
        kept,
        known is None,
        session.answered,
        len(session.round.turns),
        "; ".join(filter(None, (session.damage, lost, _left_out(named - _named(session))))),
        "homework" in session.header,
    )


def _named(session: Session) -> int:
    """How many sums were for pupils who are not erased."""
    return sum(turn.pupil != ERASED for turn in session.round.turns)


def _left_out(sums: int) -> str:
    """A note that so many sums stay out; empty for none."""
    return f"{counted(sums, 'sum')} of erased pupils left out" if sums else ""


def waiting(db: Database, folder: Path) -> list[Path]:
    """What in ``folder`` is not in the records: rounds cut short, and session files that the
    records could not take when the round was over.

    An erasure that was cut short is finished first, so that importing brings no erased pupil back.
    """
    finish_erasing(db)
    return unrecorded_sessions(db, folder)


def unrecorded_sessions(db: Database, folder: Path) -> list[Path]:
    """What in ``folder`` is not in the records, as far as file names tell; nothing is changed."""
    if not folder.is_dir():
        return []
    files = [p for p in unrecorded(db, folder) if p.suffix == ".zip" and p.is_file()]
    return [*cut_short(folder), *files]


def _file_of(db: Database, round_id: str) -> Path | None:
    for row in db.query("select file from rounds where id = ?", [round_id]):
        return Path(row["file"])
    return None


def _copied(path: Path, folder: Path) -> Path:
    """A copy of ``path`` in ``folder``, under its own name or one like it; whole or not at all."""
    if path.stat().st_size > LARGEST:
        raise BadInput(f"{path}: larger than a session file can be")
    private_folder(folder)
    stem = path.stem.lstrip(".") or "session"
    names = chain([stem], (f"{stem}-{number}" for number in count(2)))
    while True:
        target = folder / f"{next(names)}.zip"
        with only_writer(target):  # else two copies of one name could take the same place
            if target.exists() or (folder / target.stem).exists():
                continue
            return _copy(path, target)


def _copy(path: Path, target: Path) -> Path:
    """``path`` as ``target``; whole or not at all, and for this user only."""
    with replacing(target) as part:
        shutil.copyfile(path, part)
    return target
