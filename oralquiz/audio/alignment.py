"""Where on the session's clock a sample that is played is heard. No device is needed here.

The session clock counts what the microphone delivers. A sample played is heard at a place that
stays the same, relative to its place in what was played, for as long as both streams are open:
the ``shift``. It differs at every opening. PortAudio's own times give a first value; a chirp
that is heard back corrects it. It moves when the sound stumbles (an xrun), and two devices with
clocks of their own drift apart by some milliseconds a minute. So every sound that was played is
looked for in what is heard, and corrects the shift. Where it is not heard (headphones),
PortAudio's times, averaged, show the large moves; on a busy computer they wander by 30 ms while
the sound itself is exact.
"""

from __future__ import annotations

import statistics
from collections import deque
from dataclasses import dataclass

import numpy as np

from oralquiz.audio.delay_chirp import find_again
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Samples

PIECE_S = 0.02
"""How much the devices are asked to hand over at a time."""

LATEST = 25
"""Pieces whose times are averaged. PulseAudio's are wrong by up to 0.7 s in the first 1.5 s."""

BEFORE_S = 2.0
AFTER_S = 1.0
"""PortAudio's times from before and after a stumble that tell how far it moved the sound."""

STUMBLE_S = 0.01
"""They are believed about moves of more than this."""

AGAIN_S = 1.0
SEARCH_S = 0.6
"""Sounds at least this long are looked for (AGAIN_S), this far to either side of their place
(SEARCH_S)."""

MOVED_S = 0.003
"""A sound found further from its place corrects the shift."""


@dataclass(frozen=True, eq=False)
class Search:
    """A sound that was played, to be found in what was heard.

    ``sound`` (n,) should lie at position ``place``; ``heard`` (m,) begins at ``start``. ``moves``
    tells whether the shift has moved since it was begun.
    """

    place: int
    sound: Samples
    start: int
    heard: Samples
    moves: int

    def find(self) -> int | None:
        """The position at which the sound was heard; None when it does not stand out. Takes a few
        milliseconds."""
        found = find_again(self.heard, self.sound)
        return None if found is None else self.start + found


class Alignment:
    """The two streams of one opening on the session's clock.

    Frames are counted at the devices' rates, positions in samples at SESSION_RATE. It has no lock
    of its own: callers in several threads must hold one.
    """

    def __init__(self, rate_in: int = SESSION_RATE, rate_out: int = SESSION_RATE) -> None:
        """``rate_in`` of the microphone and ``rate_out`` of the loudspeaker, in hertz."""
        self.rate_in, self.rate_out = rate_in, rate_out
        self.frames_in = 0
        """Frames that the microphone has recorded, those that were lost included."""
        self.frames_out = 0
        """Frames that the loudspeaker has taken."""
        self.lag_measured = False
        """Whether the shift stands on a sound that was heard back, and not only on times."""
        self._base = 0  # session position of the first frame recorded
        self._piece = 0  # the count at which the last recorded piece began
        self._adc = 0.0  # when its first frame was recorded
        self._shift = (
            0  # the sample, counted from the base, at which frame 0 of what is played sounds
        )
        # the shift by PortAudio's times, at every piece played since the last stumble
        self._estimates: deque[float] = deque(maxlen=round(BEFORE_S / PIECE_S))
        self._before: float | None = None  # their median before a stumble not yet mended
        self._moves = 0  # stumbles and corrections
        # sounds to be looked for, with their places and the count of moves when they were begun
        self._played: deque[tuple[int, Samples, int]] = deque()
        self._kept: deque[Block] = deque()  # heard, in which they are looked for

    # --- counting -----------------------------------------------------------------------------

    def recorded(self, frames: int, adc: float, overflow: bool) -> int:
        """The microphone delivers ``frames`` more, the first of them recorded at time ``adc``.

        Returns how many frames were lost before them, which only an ``overflow`` can have done.
        """
        lost = 0
        if overflow:
            self._stumbled()
            if self.frames_in:
                lost = max(0, round((adc - self._adc) * self.rate_in) - frames)
        self._adc = adc
        self._piece = self.frames_in + lost
        self.frames_in = self._piece + frames
        return lost

    def taking(self, dac: float, underflow: bool) -> int:
        """The loudspeaker is about to take a piece, whose first frame will sound at ``dac``.

        Returns by how many samples what is played from now on is heard later than was promised.
        """
        if underflow:
            self._stumbled()
        if self.frames_in:
            said = self.frames_out * SESSION_RATE / self.rate_out
            heard = self._piece + (dac - self._adc) * self.rate_in
            self._estimates.append(heard * SESSION_RATE / self.rate_in - said)
        return self._mend()

    def took(self, frames: int) -> None:
        """The loudspeaker took ``frames``."""
        self.frames_out += frames

    def begin_at(self, position: int, made: int) -> None:
        """The sample after the first ``made`` at SESSION_RATE lies at ``position``."""
        self._base = position - made

    # --- places -------------------------------------------------------------------------------

    @property
    def now(self) -> int:
        """The position of the next sample that the microphone will deliver."""
        return self._base + round(self.frames_in * SESSION_RATE / self.rate_in)

    @property
    def lag(self) -> int:
        """Samples from handing one to the loudspeaker to hearing it in the microphone."""
        return self.heard_at(self.frames_out) - self.now

    def heard_at(self, frame: int) -> int:
        """The position at which the microphone hears ``frame`` of what is played."""
        return self._base + self._shift + round(frame * SESSION_RATE / self.rate_out)

    def frame_at(self, position: int) -> int:
        """The frame that is heard at ``position``, or the next one if that is past."""
        return max(self.frames(position - self.heard_at(0)), self.frames_out)

    def frames(self, samples: int) -> int:
        """How many of the loudspeaker's frames last as long as ``samples``."""
        return round(samples * self.rate_out / SESSION_RATE)

    # --- the shift ----------------------------------------------------------------------------

    @property
    def settled(self) -> bool:
        """Whether there are enough times to start from."""
        return len(self._estimates) >= LATEST

    def trust_times(self) -> None:
        """Set the shift by the latest of PortAudio's times."""
        if self._estimates:
            self._shift = round(statistics.median(list(self._estimates)[-LATEST:]))

    def correct(self, later: int) -> None:
        """A chirp came back ``later`` than it should: so does everything else."""
        self._shift += later
        self.lag_measured = True
        self.forget_played()

    def _stumbled(self) -> None:
        """Something was lost or put in: PortAudio's times will soon tell how much."""
        self._moves += 1
        self.lag_measured = False
        if self._before is None and self.settled:
            self._before = statistics.median(self._estimates)
        self._estimates.clear()

    def _mend(self) -> int:
        """Once the times since the last stumble have settled, move the shift by what they say."""
        if self._before is None or len(self._estimates) < AFTER_S / PIECE_S:
            return 0
        moved = round(statistics.median(self._estimates) - self._before)
        self._before = None
        return self._move(moved) if abs(moved) > STUMBLE_S * SESSION_RATE else 0

    def _move(self, moved: int) -> int:
        self._moves += 1
        self._shift += moved
        return moved

    # --- looking again for what was played ----------------------------------------------------

    def played(self, samples: Samples, place: int) -> None:
        """``samples`` (n,) will be heard from position ``place`` on: look for them if they last."""
        if len(samples) >= AGAIN_S * SESSION_RATE:
            self._played.append((place, samples, self._moves))

    def forget_played(self) -> None:
        """Look for nothing that was played until now."""
        self._played.clear()

    def heard(self, block: Block) -> Search | None:
        """The next block that was heard; a search once all is there that a sound needs."""
        if not self._played:
            self._kept.clear()
            return None
        self._kept.append(block)
        reach = round(SEARCH_S * SESSION_RATE)
        place, sound, moves = self._played[0]
        while self._kept and self._kept[0].start + BLOCK <= place - reach:
            self._kept.popleft()
        if block.start + BLOCK < place + len(sound) + reach:
            return None
        self._played.popleft()
        if moves != self._moves:
            return None  # one part of it lies here, another there
        heard = np.concatenate([kept.samples for kept in self._kept])
        return Search(place, sound, self._kept[0].start, heard, moves)

    def found(self, search: Search, position: int) -> int:
        """``search`` found its sound at ``position``.

        Returns by how many samples what is played from now on is heard later than was promised.
        """
        if search.moves != self._moves:
            return 0  # it stumbled meanwhile: what was found says nothing about what comes
        self.lag_measured = True
        moved = position - search.place
        return self._move(moved) if abs(moved) > MOVED_S * SESSION_RATE else 0
