"""A page as the reader and loudspeaker of a round."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from oralquiz.rounds import Options, Round, Turn
from oralquiz.sound import SESSION_RATE, Clip, Samples
from oralquiz.speak import Dictation
from oralquiz.web.device_messages import Hush, Play
from oralquiz.web.given_sums import GivenSums
from oralquiz.web.page_clips import Clipping
from oralquiz.web.page_stream import PageTimes

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


@dataclass(frozen=True)
class RoundPage:
    """The page that a round is held on. ``key`` is the round's there, ``sums`` what was given to
    read, ``tell`` sends."""

    key: str
    times: PageTimes
    sums: GivenSums
    tell: Callable[[Play | Hush], None]


class _ReadingSpeaker:
    """What both kinds of speaker do alike: they read what was given to them, and know whether a sum
    or a phrase was asked for last."""

    def __init__(self, page: RoundPage) -> None:
        self._page = page
        self._dictates = False

    @property
    def voice_name(self) -> str:
        return self._page.sums.voice_name

    def prepare(self, round_: Round, options: Options) -> None:
        """Each sum is rendered elsewhere while the one before is asked."""

    def dictation(self, turn: Turn) -> Dictation:
        self._dictates = True
        return self._page.sums.dictation(turn)

    def phrase(self, text: str) -> Clip:
        self._dictates = False
        return self._page.sums.phrase(text)

    def stop(self) -> None:
        self._page.tell(Hush(self._page.key))


class PageSpeaker(_ReadingSpeaker):
    """Plays on the page itself. ``position`` is the sample that the runner has come to."""

    def __init__(self, page: RoundPage, position: Callable[[], int]) -> None:
        super().__init__(page)
        self._position = position
        self._plays = 0
        self._extra_s = 0.0
        self.dictation_play = -1
        """The number of the sound that is the present sum."""

    def play(self, samples: Samples, at: int) -> int:
        delays = self._page.times.delays
        margin_s = delays.delay_s + delays.way_s + MARGIN_S + self._extra_s
        start = max(at, self._now() + round(margin_s * SESSION_RATE))
        self._plays += 1
        if self._dictates:
            self.dictation_play = self._plays
        clip = Clipping.of(samples).name
        self._page.tell(Play(self._page.key, self._plays, clip, start, self._dictates))
        return start

    def allow_more(self) -> None:
        """The page was too late: it gets more time from now on."""
        self._extra_s = min(MARGIN_MAX_S, 2 * self._extra_s + 0.25)

    def _now(self) -> int:
        """The sample that the page's microphone is at, as well as it is known here."""
        position, clock = self._position(), self._page.times.clock
        if not clock.running:
            return position
        return max(position, clock.sample_at(self._page.times.now()))


class SilentSpeaker(_ReadingSpeaker):
    """For a page that keeps silent while another device reads to the room. ``heard_s`` says when
    the room hears the sum of each turn; ``turn`` is the present one."""

    def __init__(self, page: RoundPage, turn: Callable[[], int]) -> None:
        super().__init__(page)
        self._turn = turn
        self.heard_s: dict[int, float] = {}

    def play(self, samples: Samples, at: int) -> int:
        if not self._dictates:  # the page shows the phrase: thirty tablets need not say it
            return at
        heard_s = self.heard_s[self._turn()] + self._page.times.delays.in_s
        return max(0, self._page.times.clock.sample_at(heard_s))
