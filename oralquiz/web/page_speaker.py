"""A page as the reader and loudspeaker of a round."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from oralquiz.rounds import Options, Round, Turn
from oralquiz.sound import SESSION_RATE, Clip, Samples
from oralquiz.speak import Dictation
from oralquiz.web.device_messages import Hush, Play, ToDevice
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_stream import PageStream

MARGIN_S = 0.15
"""Seconds that a page has to get a sound going, on top of its delay and the way there."""

MARGIN_MAX_S = 2.0


class Speaker(Protocol):
    """What a runner needs to dictate: its reader and its loudspeaker in one."""

    @property
    def voice_name(self) -> str: ...

    def prepare(self, round_: Round, options: Options) -> None: ...

    def dictation(self, turn: Turn) -> Dictation: ...

    def phrase(self, text: str) -> Clip: ...

    def play(self, samples: Samples, at: int) -> int: ...

    def stop(self) -> None: ...


class _ReadingSpeaker:
    """What both kinds of speaker do alike: they read ahead, and know whether a sum or a phrase was
    asked for last."""

    def __init__(
        self,
        key: str,
        stream: PageStream,
        reader: AheadReader,
        tell: Callable[[ToDevice], None],
    ) -> None:
        self._key = key
        self._stream = stream
        self._reader = reader
        self._tell = tell
        self._dictates = False

    @property
    def voice_name(self) -> str:
        return self._reader.voice_name

    def prepare(self, round_: Round, options: Options) -> None:
        """Render the first sum; each of the others is rendered while the one before is asked."""
        self._reader.prepare(round_.turns[0])

    def dictation(self, turn: Turn) -> Dictation:
        self._dictates = True
        return self._reader.prepare(turn)

    def phrase(self, text: str) -> Clip:
        self._dictates = False
        return self._reader.phrase(text)

    def stop(self) -> None:
        self._tell(Hush(self._key))


class PageSpeaker(_ReadingSpeaker):
    """Plays on the page itself. ``position`` is the sample that the runner has come to."""

    def __init__(
        self,
        key: str,
        stream: PageStream,
        reader: AheadReader,
        tell: Callable[[ToDevice], None],
        position: Callable[[], int],
    ) -> None:
        super().__init__(key, stream, reader, tell)
        self._position = position
        self._plays = 0
        self._extra_s = 0.0
        self.dictation_play = -1
        """The number of the sound that is the present sum."""

    def play(self, samples: Samples, at: int) -> int:
        margin_s = self._stream.delay_s + self._stream.way_s + MARGIN_S + self._extra_s
        start = max(at, self._now() + round(margin_s * SESSION_RATE))
        self._plays += 1
        if self._dictates:
            self.dictation_play = self._plays
        clip = self._stream.clips.add(samples)
        self._tell(Play(self._key, self._plays, clip, start, self._dictates))
        return start

    def allow_more(self) -> None:
        """The page was too late: it gets more time from now on."""
        self._extra_s = min(MARGIN_MAX_S, 2 * self._extra_s + 0.25)

    def _now(self) -> int:
        """The sample that the page's microphone is at, as well as it is known here."""
        position, clock = self._position(), self._stream.clock
        if not clock.running:
            return position
        return max(position, clock.sample_at(self._stream.now()))


class SilentSpeaker(_ReadingSpeaker):
    """For a page that keeps silent while another device reads to the room. ``times`` says when the
    room hears the sum of each turn; ``turn`` is the present one."""

    def __init__(
        self,
        key: str,
        stream: PageStream,
        reader: AheadReader,
        tell: Callable[[ToDevice], None],
        turn: Callable[[], int],
    ) -> None:
        super().__init__(key, stream, reader, tell)
        self._turn = turn
        self.times: dict[int, float] = {}

    def play(self, samples: Samples, at: int) -> int:
        if not self._dictates:  # the page shows the phrase: thirty tablets need not say it
            return at
        heard_s = self.times[self._turn()] + self._stream.in_s
        return max(0, self._stream.clock.sample_at(heard_s))
