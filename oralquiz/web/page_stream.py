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


@dataclass
class PageStream:
    """``delay_s``: seconds a sound takes from the page's clock to the ear, microphone included,
    ``in_s`` the part of it that belongs to the microphone; ``way_s``: seconds a message takes to
    the page and back. ``reading``: when the terms of the present sum sound. ``on_first`` is called
    when the stream begins or begins anew."""

    now: Now
    on_first: Callable[[], None] = lambda: None
    blocks: BlockSequence = field(default_factory=BlockSequence)
    clock: StreamClock = field(default_factory=StreamClock)
    clips: PageClips = field(default_factory=PageClips)
    delay_s: float = 0.0
    in_s: float = 0.0
    way_s: float = 0.05
    reading: SumTimes | None = None

    def arrived(self, number: int, pcm: Pcm) -> Pcm:
        """Take blocks from ``number`` on; returns those that are new, (k * BLOCK,).

        Raises Gap when a block before them is missing.
        """
        fresh = self.blocks.fresh(number, len(pcm) // BLOCK)
        if fresh:
            first = not self.clock.running
            self.clock.arrived(block_start(self.blocks.next), self.now())
            if first:
                self.on_first()
        return pcm[len(pcm) - fresh * BLOCK :]

    def reopened(self) -> None:
        """The page was opened again: it has another clock."""
        self.clock = StreamClock()
