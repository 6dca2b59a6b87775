"""The state behind the pages."""

from __future__ import annotations

import asyncio
from pathlib import Path

from sqlite_utils import Database

from oralquiz.web.records_thread import RecordsThread


def tables(db: Database) -> int:
    return len(db.table_names())


def test_new_records_are_created_by_one_connection(tmp_path: Path) -> None:
    """Two that make the same file at once lock each other out."""

    async def both(folder: Path) -> None:
        records = RecordsThread(folder / "records.db")
        found = await asyncio.gather(
            *(records.apart(tables) for _ in range(3)), *(records.do(tables) for _ in range(3))
        )
        assert len(set(found)) == 1
        records.close()

    for k in range(10):
        asyncio.run(both(tmp_path / str(k)))
