"""How long voices are kept: after that time the sound goes, the scores stay."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from oralquiz.compose import counted
from oralquiz.errors import OralquizError
from oralquiz.records.older_rounds import look_into_older
from oralquiz.records.unrecorded import unrecorded
from oralquiz.session import erase_voices, leftovers, open_session, remove_leftover


def voices_kept(
    db: Database, *, older_than_days: int, now: datetime, folder: Path | None = None
) -> list[Path]:
    """The session files that still hold a voice and are older than that at ``now``.

    ``now`` carries its time zone. These are files that the records know, and other sessions in
    ``folder``, including rounds that are being held or were cut short before they reached the
    records. A file that is gone is skipped; one that cannot be read may hold a voice, and counts.
    """
    until = begun_before(older_than_days, now)
    look_into_older(db)
    rows = db.query(
        "select file, created from rounds where coalesce(voices, 1) order by created, rowid"
    )
    old = [row["file"] for row in rows if _time(row["created"]) <= until]
    known = [Path(file) for file in old if os.path.exists(file)]  # noqa: PTH110, quick
    others = unrecorded(db, folder) if folder is not None else []
    return known + [path for path in others if _holds_voice(path, until)]


def begun_before(days: int, now: datetime) -> datetime:
    """``days`` days before ``now``, or the earliest time that can be written."""
    try:
        return now - timedelta(days=days)
    except OverflowError:
        return datetime.min.replace(tzinfo=UTC)


def _time(created: str) -> datetime:
    """An ISO 8601 time with its time zone, or with this machine's where it has none."""
    when = datetime.fromisoformat(created)
    return when if when.tzinfo else when.astimezone()


def _holds_voice(path: Path, until: datetime) -> bool:
    """Whether what lies at ``path`` is a session with a voice that began by ``until``."""
    try:
        session = open_session(path)
        return _time(session.round.created) <= until and bool(session.audio[:, 1].any())
    except (OralquizError, OSError, ValueError):
        return False


def forget_voices(
    db: Database,
    *,
    older_than_days: int,
    now: datetime,
    folder: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Remove the voices from those files; returns them. What crashes left in ``folder`` goes too.

    ``progress`` is called with how many files are done, and of how many. Raises OralquizError,
    after all the others are done, if one of them cannot be read or its round is being held.
    """
    done: list[Path] = []
    failed: list[str] = []
    wanted = voices_kept(db, older_than_days=older_than_days, now=now, folder=folder)
    for number, file in enumerate(wanted, start=1):
        try:
            erase_voices(file)
            db.execute("update rounds set voices = 0 where file = ?", [str(file.resolve())])
            done.append(file)
        except (OralquizError, OSError) as error:
            failed.append(str(error))
        if progress is not None:
            progress(number, len(wanted))
    for path in leftovers(folder) if folder is not None else ():
        try:
            remove_leftover(path)
        except (OralquizError, OSError) as error:
            failed.append(str(error))
    if failed:
        raise OralquizError(
            f"voices removed from {counted(len(done), 'session file')}, "
            f"but not from: {'; '.join(failed)}"
        )
    return done
