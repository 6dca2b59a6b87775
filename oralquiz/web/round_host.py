"""Where rounds on devices are heard: in threads of this process, or elsewhere.

``HearingProcesses`` (``hearing_processes.py``) is the one that a server uses.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from functools import partial
from threading import Lock
from typing import Any, Generic, Protocol, TypeVar

from oralquiz.listen import Recognizer
from oralquiz.web.inbox import Item, Put
from oralquiz.web.page_stream import Now
from oralquiz.web.reports import Hear
from oralquiz.web.round_worker import Opening, RoundWorker


class RoundHost(Protocol):
    """Holds rounds on devices."""

    async def at_once(self) -> int:
        """How many pupils can be heard at once; measured once. Raises OralquizError."""
        ...

    async def open(self, openings: Sequence[Opening], hears: Sequence[Hear]) -> list[Put]:
        """Begin these rounds: all or none, and then nothing is left of them. What a round says
        goes to its ``Hear``, from any thread. Raises OralquizError."""
        ...

    async def close(self) -> None:
        """Let go of threads and processes. Rounds that are not over are left as a crash would leave
        them."""
        ...


class HearingThreads:
    """Rounds are heard in ``pool``, each by one thread at a time."""

    def __init__(
        self,
        recognizer: Callable[[], Recognizer],
        pool: Executor,
        now: Now,
        at_once: int,
    ) -> None:
        self._open_recognizer = recognizer
        self._pool = pool
        self._now = now
        self._at_once = at_once
        self._recognizer: Recognizer | None = None

    async def at_once(self) -> int:
        return self._at_once

    async def open(self, openings: Sequence[Opening], hears: Sequence[Hear]) -> list[Put]:
        workers = await asyncio.to_thread(self._open_all, openings)
        return [
            Inbox(self._pool, partial(heard_by, hear, worker)).put
            for worker, hear in zip(workers, hears, strict=True)
        ]

    async def close(self) -> None:
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _open_all(self, openings: Sequence[Opening]) -> list[RoundWorker]:
        if self._recognizer is None:
            self._recognizer = self._open_recognizer()
        workers: list[RoundWorker] = []
        try:
            for opening in openings:
                workers.append(RoundWorker(opening, self._recognizer, self._now))
        except Exception:
            for worker in workers:
                worker.leave()
            raise
        return workers


def heard_by(hear: Hear, worker: RoundWorker, item: Item) -> None:
    """Hand ``item`` to ``worker`` and what comes of it to ``hear``."""
    said = worker.handle(item)
    for one in kept(worker, said, worker.unpacked):
        hear(one)


def kept(worker: RoundWorker, said: Sequence[Any], pack: bool) -> list[Any]:
    """What may be told once ``said`` is on the disk, and the session packed if ``pack``."""
    told = list(said) if not said or worker.sync() else []
    return told + worker.packed() if pack else told


T = TypeVar("T")


class Inbox(Generic[T]):
    """Hands items to ``handle`` in the order in which they were put, one at a time, in ``pool``:
    taking a block may mean recognising speech and waiting for the disk."""

    def __init__(self, pool: Executor, handle: Callable[[T], None]) -> None:
        self._pool = pool
        self._handle = handle
        self._lock = Lock()
        self._items: deque[T] = deque()
        self._busy = False

    def put(self, item: T) -> None:
        with self._lock:
            self._items.append(item)
            if self._busy:
                return
            self._busy = True
        self._pool.submit(self._drain)

    def _drain(self) -> None:
        while True:
            with self._lock:
                if not self._items:
                    self._busy = False
                    return
                item = self._items.popleft()
            self._handle(item)
