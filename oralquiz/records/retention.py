"""How long voices are kept: after that time the sound goes, the scores stay."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from oralquiz.session.erase import erase_voices


def forget_voices(db: Database, *, older_than_days: int, now: datetime) -> list[Path]:
    """Remove the recorded voices from every session that began that long before ``now``.

    ``now`` carries its time zone. Returns the files that were changed; one that is gone is
    passed over.
    """
    until = now - timedelta(days=older_than_days)
    changed = []
    for row in db.query("select file, created from rounds order by created"):
        file = Path(row["file"])
        old = datetime.fromisoformat(row["created"]) <= until
        if old and file.exists() and erase_voices(file):
            changed.append(file)
    return changed
