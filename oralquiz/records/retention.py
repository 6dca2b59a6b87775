"""How long voices are kept: after that time the sound goes, the scores stay."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from oralquiz.session.erase import erase_voices
from oralquiz.session.file import open_session


def voices_kept(db: Database, *, older_than_days: int, now: datetime) -> list[Path]:
    """The session files that still hold a voice and began that long before ``now``.

    ``now`` carries its time zone. A file that is gone is passed over.
    """
    until = now - timedelta(days=older_than_days)
    rows = db.query("select file, created from rounds order by created")
    old = [Path(r["file"]) for r in rows if datetime.fromisoformat(r["created"]) <= until]
    return [file for file in old if file.exists() and open_session(file).audio[:, 1].any()]


def forget_voices(db: Database, *, older_than_days: int, now: datetime) -> list[Path]:
    """Remove the voices from those files; returns them."""
    files = voices_kept(db, older_than_days=older_than_days, now=now)
    for file in files:
        erase_voices(file)
    return files
