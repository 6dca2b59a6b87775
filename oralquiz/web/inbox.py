"""What is waiting for a round on a device, and the thread that takes it.

The event loop only puts; a pool of threads empties the inbox, one thread at a time, because taking
a block may mean recognising speech and waiting for the disk.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from threading import Lock

from oralquiz.judge import Verdict
from oralquiz.rounds import Command
from oralquiz.sound import Pcm


@dataclass(frozen=True, eq=False)
class MicrophoneBlocks:
    """Blocks of the microphone, (k * BLOCK,): made into samples by who takes them, since the event
    loop has enough to do."""

    pcm: Pcm


@dataclass(frozen=True)
class Lost:
    """This many blocks will never come."""

    blocks: int


@dataclass(frozen=True)
class Obey:
    """A command for the runner."""

    command: Command


@dataclass(frozen=True)
class ReadSlower:
    """The pace has changed: what was rendered at the one before is rendered anew."""


@dataclass(frozen=True)
class TooLate:
    """The page could not start sound ``play`` on time."""

    play: int


@dataclass(frozen=True)
class RoomReads:
    """The room hears the sum of ``turn`` at ``at_s`` on the server's clock, perhaps ``again``."""

    turn: int
    at_s: float
    again: bool = False


@dataclass(frozen=True)
class TeacherVerdict:
    """The teacher's verdict on a turn. ``when`` is an ISO 8601 date and time."""

    turn: int
    verdict: Verdict
    value: int | None
    by: str
    when: str


@dataclass(frozen=True)
class EndRound:
    """End now, whether or not the device still sends."""

    why: str


Item = MicrophoneBlocks | Lost | Obey | TooLate | ReadSlower | RoomReads | TeacherVerdict | EndRound


class Inbox:
    """Hands items to ``handle`` in the order in which they were put, one at a time, in ``pool``."""

    def __init__(self, pool: Executor, handle: Callable[[Item], None]) -> None:
        self._pool = pool
        self._handle = handle
        self._lock = Lock()
        self._items: deque[Item] = deque()
        self._busy = False

    def put(self, item: Item) -> None:
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
