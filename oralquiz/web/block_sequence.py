"""A device's stream of blocks put in order, and its clock seen from the server."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from oralquiz.sound import BLOCK, SESSION_RATE


class Gap(Exception):
    """Blocks before those that came are missing: the page should send again from ``expected``
    on."""

    def __init__(self, expected: int) -> None:
        super().__init__(f"block {expected} is missing")
        self.expected = expected


@dataclass
class BlockSequence:
    """Lets every block through once and in order.

    ``next`` is the number of the block that is wanted. After a break in the connection a page
    sends again what it has no receipt for: what comes twice is counted in ``doubled`` and dropped;
    what the page could not keep, it says, and that is counted in ``lost``.
    """

    next: int = 0
    doubled: int = 0
    lost: int = 0

    def fresh(self, first: int, count: int) -> int:
        """How many of the blocks ``first`` .. ``first + count - 1`` are new; they are its last.

        Raises Gap when one before them is missing.
        """
        if first > self.next:
            raise Gap(self.next)
        new = max(0, first + count - self.next)
        self.doubled += count - new
        self.next += new
        return new

    def skip(self, first: int, count: int) -> int:
        """Blocks ``first`` .. are lost for good: how many of them are still wanted."""
        missing = max(0, first + count - self.next) if first <= self.next else 0
        self.lost += missing
        self.next += missing
        return missing


@dataclass
class StreamClock:
    """When the samples of a device's stream were made, on the server's monotonic clock.

    A packet arrives at (time of its last sample) + (its way to here); the way is never shorter
    than the quickest one, so the least of ``arrival - samples / rate`` over the last ``memory_s``
    seconds is the clock's offset, late by the quickest way only. The memory is short because two
    crystals differ by up to some 100 parts in a million (1 ms in 10 s).
    """

    memory_s: float = 10.0
    _least: deque[tuple[float, float]] = field(default_factory=deque)

    def arrived(self, samples: int, at_s: float) -> None:
        """The packet that ends the first ``samples`` of the stream came at ``at_s``."""
        offset = at_s - samples / SESSION_RATE
        while self._least and self._least[-1][1] >= offset:
            self._least.pop()
        self._least.append((at_s, offset))
        while self._least[0][0] < at_s - self.memory_s:
            self._least.popleft()

    @property
    def running(self) -> bool:
        return bool(self._least)

    def sample_at(self, time_s: float) -> int:
        """The sample of the stream made at ``time_s``. Raises ValueError before any packet."""
        if not self._least:
            raise ValueError("nothing came yet: the stream has no clock")
        return round((time_s - self._least[0][1]) * SESSION_RATE)

    def time_of(self, sample: int) -> float:
        """When ``sample`` was made. Raises ValueError before any packet."""
        if not self._least:
            raise ValueError("nothing came yet: the stream has no clock")
        return self._least[0][1] + sample / SESSION_RATE


def block_start(number: int) -> int:
    """The first sample of block ``number``."""
    return number * BLOCK
