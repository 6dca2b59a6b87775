"""The computer at the front reading to the whole room, for tablets that only listen.

Its page streams silence, which gives it a clock; the server then knows when a sample that the
page plays is heard in the room, and the tablets' streams are asked for the same moment.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from oralquiz.rounds import Command
from oralquiz.sound import BLOCK, Samples
from oralquiz.speak import Dictation
from oralquiz.web.block_sequence import BlockSequence, StreamClock, block_start
from oralquiz.web.page_clips import PageClips
from oralquiz.web.remote_round import Message


class RoomReader:
    """Meets a device as a Run does, but judges nothing. ``missed_start`` is told of a sum that
    could not start on time."""

    def __init__(
        self,
        key: str,
        tell: Callable[[Message], None],
        missed_start: Callable[[], None],
    ) -> None:
        self.key = key
        self.intake = BlockSequence()
        self.clock = StreamClock()
        self.clips = PageClips()
        self.delay_s = 0.0
        self.in_s = 0.0
        self.way_s = 0.05
        self.reading: Message | None = None
        self._tell = tell
        self._missed_start = missed_start
        self._plays = 0

    def read(self, dictation: Dictation, turn: int, at_s: float) -> None:
        """Have the room hear ``dictation`` from ``at_s`` on (the monotonic clock)."""
        start = self.clock.sample_at(at_s)
        self._plays += 1
        self._tell(
            {
                "t": "play",
                "run": self.key,
                "play": self._plays,
                "clip": self.clips.add(dictation.samples),
                "at": start,
                "exact": True,
            }
        )
        self.reading = {
            "t": "reading",
            "run": self.key,
            "turn": turn,
            "terms": [[start + t.onset, start + t.offset] for t in dictation.terms],
        }
        self._tell(self.reading)

    def hush(self) -> None:
        self._tell({"t": "hush", "run": self.key})

    @property
    def ahead_s(self) -> float:
        """Seconds ahead in which a sum can be told to start."""
        return self.delay_s + self.way_s + 0.3

    # --- what a device asks of what runs on it ----------------------------------------------

    def packet(self, number: int, samples: Samples) -> None:
        if self.intake.fresh(number, len(samples) // BLOCK):
            self.clock.arrived(block_start(self.intake.next), time.monotonic())

    def lost(self, first: int, count: int) -> None:
        self.intake.skip(first, count)

    def reopened(self) -> None:
        self.clock = StreamClock()
        self._missed_start()

    def missed(self, seen: int) -> None:
        if seen < self._plays:
            self._missed_start()

    def late(self, play: int) -> None:
        if play == self._plays:
            self._missed_start()

    def command(self, command: Command) -> None:
        """Nothing here takes commands."""
