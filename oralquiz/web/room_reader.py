"""The computer at the front reading to the whole room, for tablets that only listen.

Its page streams silence, which gives it a clock; the server then knows when a sample that the
page plays is heard in the room, and the tablets' streams are asked for the same moment.
"""

from __future__ import annotations

from collections.abc import Callable

from oralquiz.rounds import Command
from oralquiz.sound import Pcm
from oralquiz.speak import Dictation
from oralquiz.web.device_messages import Hush, Play, SumTimes, ToDevice
from oralquiz.web.page_stream import Delays, Now, PageStream

TOLD_AHEAD_S = 0.3
"""Seconds that a page has to get a sound going, on top of its delay and the way there."""


class RoomReader:
    """Takes the place of a RemoteRound on the device at the front, but judges nothing.

    ``missed_start`` is called when a sum could not start on time.
    """

    def __init__(
        self,
        key: str,
        tell: Callable[[ToDevice], None],
        missed_start: Callable[[], None],
        now: Now,
        stream_begun: Callable[[], None],
    ) -> None:
        self.key = key
        self.stream = PageStream(now, on_first=stream_begun)
        self._tell = tell
        self._missed_start = missed_start
        self._plays = 0

    def read(self, dictation: Dictation, turn: int, at_s: float) -> None:
        """Have the room hear ``dictation`` from ``at_s`` on (the server's clock)."""
        start = self.stream.clock.sample_at(at_s)
        self._plays += 1
        clip = self.stream.clips.add(dictation.samples)
        self._tell(Play(self.key, self._plays, clip, start, exact=True))
        terms = [(start + term.onset, start + term.offset) for term in dictation.terms]
        self.stream.reading = SumTimes(self.key, turn, terms)
        self._tell(self.stream.reading)

    def hush(self) -> None:
        self._tell(Hush(self.key))

    @property
    def ahead_s(self) -> float:
        """Seconds ahead in which a sum can be told to start."""
        delays = self.stream.delays
        return delays.delay_s + delays.way_s + TOLD_AHEAD_S

    # --- what a device asks of what runs on it ----------------------------------------------

    def packet(self, number: int, pcm: Pcm) -> None:
        self.stream.arrived(number, pcm)

    def lost(self, first: int, count: int) -> None:
        self.stream.blocks.skip(first, count)

    def delayed(self, delays: Delays) -> None:
        self.stream.delays = delays

    def reopened(self) -> None:
        self.stream.reopened()
        self._missed_start()

    def missed(self, seen: int) -> None:
        if seen < self._plays:
            self._missed_start()

    def late(self, play: int) -> None:
        if play == self._plays:
            self._missed_start()

    def command(self, command: Command) -> None:
        """Nothing here takes commands."""

    def slower(self) -> None:
        """The room's pace is the teacher's."""
