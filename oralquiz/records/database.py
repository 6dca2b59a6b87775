"""Opening the records: one SQLite file, WAL, foreign keys on, migrated to this version."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.folders import data_folder, private_file, private_folder
from oralquiz.records.cards_file import take_in
from oralquiz.records.migrations import migrations, practice_migrations

BUSY_S = 10.0
"""Seconds that a writer waits for another."""


def default_path() -> Path:
    """The records of this machine's user."""
    return data_folder() / "records.db"


def open_records(path: Path | None = None, *, any_thread: bool = False) -> Database:
    """Open (or create) the records at ``path``, by default those of this machine's user.

    No other user of this computer can read them. With ``any_thread`` the caller sees to it that one
    thread uses the connection at a time. Raises BadInput if the file is not a database of ours.
    """
    path = path or default_path()
    try:
        private_folder(path.parent)
        private_file(path)
        db = Database(sqlite3.connect(path, timeout=BUSY_S, check_same_thread=not any_thread))
        _prepare(db)
        take_in(db, path.parent / "web" / "cards.json")
    except (sqlite3.DatabaseError, OSError) as error:
        raise BadInput(f"{path}: these records cannot be opened ({error})") from None
    return db


def records_in_memory() -> Database:
    """Records that are gone when they are closed, for any thread."""
    db = Database(sqlite3.connect(":memory:", check_same_thread=False))
    _prepare(db)
    return db


def _prepare(db: Database) -> None:
    db.execute("pragma foreign_keys = on")
    db.execute("pragma secure_delete = on")  # erased rows are overwritten, not just unlinked
    db.enable_wal()
    sets = (migrations, practice_migrations)
    if any(each.pending(db) for each in sets):
        with changing(db):  # another process with the same new file waits
            for each in sets:
                each.apply(db)


@contextmanager
def changing(db: Database) -> Iterator[None]:
    """Make all the changes of this block or none of them; other writers wait."""
    db.execute("begin immediate")
    try:
        yield
    except BaseException:
        db.rollback()
        raise
    db.execute("commit")
