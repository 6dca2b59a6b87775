"""Sessions in a folder that the records do not know."""

from __future__ import annotations

import os
from pathlib import Path

from sqlite_utils import Database


def unrecorded(db: Database, folder: Path) -> list[Path]:
    """What lies in ``folder`` under a name that the records do not know, in order; no hidden files.

    It may be a session (a round that is running, was cut short, or could not be stored) or anything
    else. Only names are looked at, no file is opened: 50,000 take a fifth of a second.
    """
    if not folder.is_dir():
        return []
    inside = folder.resolve()
    known = {row["file"] for row in db.query("select file from rounds")}
    beside = f"{inside}{os.sep}"
    with os.scandir(inside) as entries:
        names = [entry.name for entry in entries if not entry.name.startswith(".")]
    return sorted(inside / name for name in names if beside + name not in known)
