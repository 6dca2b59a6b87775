"""Keeps the pages that watch up to date: the teacher's and the projector's."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass

from oralquiz.web.connection import REFUSED, Connection
from oralquiz.web.live_messages import Live, Wall

SETTLE_S = 0.05
"""Seconds in which changes are gathered, at least, before the watching pages are told."""

SHARE = 0.05
"""The share of the server's time that telling them may take: with a large class, whose news is
long and frequent, changes are gathered for longer."""


@dataclass(frozen=True)
class Watcher:
    """A page that watches; ``wall``: the projector's."""

    connection: Connection
    wall: bool


class Publisher:
    """``live`` and ``wall`` make the news for the two kinds of pages; ``now`` says how many seconds
    that takes."""

    def __init__(
        self,
        live: Callable[[], Live],
        wall: Callable[[], Wall],
        now: Callable[[], float] = time.thread_time,
    ) -> None:
        self._live = live
        self._wall = wall
        self._now = now
        self._watchers: list[Watcher] = []
        self._telling = False
        self._took_s = 0.0

    def watch(self, connection: Connection, *, wall: bool) -> None:
        self._watchers.append(Watcher(connection, wall))
        connection.send(self._news(wall))

    def unwatch(self, connection: Connection) -> None:
        self._watchers = [w for w in self._watchers if w.connection is not connection]

    @property
    def watching(self) -> int:
        """How many pages are watching."""
        return len(self._watchers)

    def changed(self) -> None:
        """Tell the watching pages soon, together with whatever else changes by then."""
        if not self._telling and self._watchers:
            self._telling = True
            settle_s = max(SETTLE_S, self._took_s / SHARE)
            asyncio.get_running_loop().call_later(settle_s, self._tell)

    def lock_out(self, visit: str = "") -> None:
        """End the connections of a visit that is over; without one, every teacher's."""
        for watcher in self._watchers:
            if not visit or watcher.connection.visit == visit:
                watcher.connection.close("sign in first", REFUSED)

    def _tell(self) -> None:
        self._telling = False
        began_s = self._now()
        for wall in (False, True):
            watching = [w.connection for w in self._watchers if w.wall is wall]
            if watching:
                news = self._news(wall)
                for connection in watching:
                    connection.send(news)
        self._took_s = self._now() - began_s

    def _news(self, wall: bool) -> Live | Wall:
        return self._wall() if wall else self._live()
