"""Records in which nothing is written yet."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from oralquiz.records.database import open_records


@cache
def _empty() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "records.db"
        open_records(path).close()
        return path.read_bytes()


def fresh_records(path: Path) -> Path:
    """Put empty records at ``path``, unless there are some: making the tables takes the time of
    several tests."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(_empty())
    return path
