"""The sound between one page and the server: its blocks, its clock, its clips, its delays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from oralquiz.sound import BLOCK, Pcm
from oralquiz.web.block_sequence import BlockSequence, StreamClock, block_start
from oralquiz.web.device_messages import SumTimes
from oralquiz.web.page_clips import PageClips

Now = Callable[[], float]
"""Seconds on a clock that never goes back (time.monotonic, except in tests)."""


@dataclass(frozen=True)
class Delays:
    """``delay_s``: seconds a sound takes from the page's clock to the ear, microphone included,
    ``in_s`` the part of it that belongs to the microphone; ``way_s``: seconds a message takes to
    the page and back."""

    delay_s: float = 0.0
    in_s: float = 0.0
    way_s: float = 0.05


@dataclass
class PageTimes:
    """A page's clock and delays as the server knows them."""

    now: Now
    clock: StreamClock = field(default_factory=StreamClock)
    delays: Delays = Delays()

    def reopened(self) -> None:
        """The page was opened again: it has another clock."""
        self.clock = StreamClock()


@dataclass
class PageStream(PageTimes):
    """``reading``: when the terms of the present sum sound. ``on_first`` is called when the stream
    begins or begins anew."""

    on_first: Callable[[], None] = lambda: None
    blocks: BlockSequence = field(default_factory=BlockSequence)
    clips: PageClips = field(default_factory=PageClips)
    reading: SumTimes | None = None
    last: tuple[int, float] = (0, 0.0)
    """Up to which sample the last packet went, and when it came."""

    def arrived(self, number: int, pcm: Pcm) -> Pcm:
        """Take blocks from ``number`` on; returns those that are new, (k * BLOCK,).

        Raises Gap when a block before them is missing.
        """
        fresh = self.blocks.fresh(number, len(pcm) // BLOCK)
        if fresh:
            first = not self.clock.running
            self.last = block_start(self.blocks.next), self.now()
            self.clock.arrived(*self.last)
            if first:
                self.on_first()
        return pcm[len(pcm) - fresh * BLOCK :]
