"""Opening the records: one SQLite file, WAL, foreign keys on, migrated to this version."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.folders import data_folder
from oralquiz.records.migrations import migrations


def default_path() -> Path:
    """The records of this machine's user."""
    return data_folder() / "records.db"


def open_records(path: Path | None = None) -> Database:
    """Open (or begin) the records at ``path``, by default those of this machine's user.

    Raises BadInput if the file is not a database of ours.
    """
    path = path or default_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = Database(sqlite3.connect(path, timeout=10))
        db.execute("pragma foreign_keys = on")
        db.execute("pragma secure_delete = on")  # erased rows are overwritten, not just unlinked
        db.enable_wal()
        migrations.apply(db)
    except (sqlite3.DatabaseError, OSError) as error:
        raise BadInput(f"{path}: these records cannot be opened ({error})") from None
    return db
