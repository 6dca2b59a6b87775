"""The records behind one thread of their own: SQLite has one writer anyway."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from sqlite_utils import Database

from oralquiz.records import open_records

T = TypeVar("T")


class RecordsThread:
    """Everything that the pages read and write in the records goes through here."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._thread = ThreadPoolExecutor(1, "records")
        self._db: Database | None = None

    async def do(self, work: Callable[..., T], *args: Any, **named: Any) -> T:
        """``work(db, *args, **named)`` in the records' thread."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, partial(self._with, work, *args, **named))

    def _with(self, work: Callable[..., T], *args: Any, **named: Any) -> T:
        if self._db is None:
            self._db = open_records(self._path)
        return work(self._db, *args, **named)

    async def apart(self, work: Callable[..., T], *args: Any) -> T:
        """``work(db, *args)`` on a connection of its own: work that opens many sessions would keep
        every page waiting."""
        await self.do(
            lambda db: None
        )  # two that open the same new file at once lock each other out
        return await asyncio.to_thread(self._apart, work, *args)

    def _apart(self, work: Callable[..., T], *args: Any) -> T:
        db = open_records(self._path)
        try:
            return work(db, *args)
        finally:
            db.close()

    def close(self) -> None:
        if self._db is not None:
            self._thread.submit(self._db.close).result()
        self._thread.shutdown()
