"""Work that goes on by itself, on the event loop."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any


class Background:
    """Keeps tasks alive until they are done; the loop itself holds them only weakly."""

    def __init__(self) -> None:
        self._tasks: set[asyncio.Task[Any]] = set()

    def run(self, work: Coroutine[Any, Any, Any]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def done(self, *, quietly: bool = False) -> None:
        """Wait until all work is done; raises what the work raised, unless ``quietly``."""
        while self._tasks:
            await asyncio.gather(*self._tasks, return_exceptions=quietly)
