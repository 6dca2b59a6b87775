"""How long voices are kept: after that time the sound goes, the scores stay."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from oralquiz.compose import many
from oralquiz.errors import OralquizError
from oralquiz.session import erase_voices, open_session


def voices_kept(
    db: Database, *, older_than_days: int, now: datetime, folder: Path | None = None
) -> list[Path]:
    """The session files that still hold a voice and began that long before ``now``.

    ``now`` carries its time zone. Looked at are the files the records know and every session in
    ``folder``, among them rounds that are being held or were cut short before they reached the
    records. A file that is gone is passed over; one that cannot be read may hold a voice, and
    counts.
    """
    until = now - timedelta(days=older_than_days)
    return list(_sessions(db, folder, until))


def _sessions(db: Database, folder: Path | None, until: datetime) -> Iterator[Path]:
    """Every session with a voice that began by ``until``, as far as that can be read."""
    known = {
        Path(row["file"]): datetime.fromisoformat(row["created"]).astimezone()
        for row in db.query("select file, created from rounds order by created")
    }
    others = {p.resolve() for p in folder.iterdir()} if folder and folder.exists() else set()
    for file in (*known, *sorted(others - set(known))):
        if not file.exists() or (file in known and known[file] > until):
            continue  # a newer one is not even opened: that takes time
        try:
            session = open_session(file)
            created = datetime.fromisoformat(session.round.created).astimezone()
        except (OralquizError, OSError, ValueError):
            if file in known:
                yield file
            continue
        if created <= until and session.audio[:, 1].any():
            yield file


def forget_voices(
    db: Database, *, older_than_days: int, now: datetime, folder: Path | None = None
) -> list[Path]:
    """Remove the voices from those files; returns them.

    Raises OralquizError, after all the others are done, if one of them cannot be read or its round
    is being held.
    """
    done: list[Path] = []
    failed: list[str] = []
    for file in voices_kept(db, older_than_days=older_than_days, now=now, folder=folder):
        try:
            erase_voices(file)
            done.append(file)
        except (OralquizError, OSError) as error:
            failed.append(str(error))
    if failed:
        raise OralquizError(
            f"voices removed from {many(len(done), 'session file')}, "
            f"but not from: {'; '.join(failed)}"
        )
    return done
