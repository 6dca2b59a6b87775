"""Where a voice begins and ends, on the stream's own clock.

A recogniser's word times and a loudness threshold both come late on the weak first sounds of the
number words (/f/, /th/, /s/, /z/), each by a different amount. Here the sound is cut into short
overlapping windows and six bands. A band is *active* when it rises above the room's level in it,
and above a level so far below the voice's own peak that nobody would call it voice. From the
first loud part of the voice the onset is sought backwards, as the point from which the evidence
for voice, summed up to the loud part, is greatest: a change point, not a threshold. A lip click
separated from the voice by quiet does not outweigh that quiet; a weak fricative that runs into the
vowel does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from oralquiz.listen.band_levels import BANDS_HZ, HOP_S, Levels, band_levels_at
from oralquiz.listen.room_noise import (
    EVERY,
    MARGIN_DB,
    RoomNoise,
    ceiling_of,
    powers_of_tenths,
    quietest_tenths,
)
from oralquiz.sound import Samples

UNDER_PEAK_DB = 46.0
UNDER_PEAK_TILT_DB = 2.0
"""A band is active only within 46 dB of the voice's peak, 2 dB more for each higher band."""
QUIET_WEIGHT = 1.0
ACTIVE_WEIGHT = 1.0
ACTIVE_SPAN_DB = 4.0
"""Evidence of one window: up to 1 when active, growing over 4 dB; -1 when not."""
LOUD_UNDER_PEAK_DB = 12.0
LOUD_S = 0.03
"""The loud part begins where most of 30 ms, longer than a click, lies within 12 dB of the peak."""
LOOK_BACK_S = 0.5

MISTAKEN_S = 3.0
MISTAKEN_DB = 10.0
"""What fills the first moments of a stream is taken for the room. When a band turns out within 3 s
to be 10 dB quieter at times, it was a voice: the stream is then gone through once more."""
BEGIN_S = 0.08
BEGIN_SHARE = 0.6
"""A voice has begun when this share of the last 80 ms was active."""
BEGIN_WINDOWS = round(BEGIN_S / HOP_S)
END_S = 0.06
END_UNDER_PEAK_DB = 34.0
"""A voice has ended when 60 ms held nothing active within 34 dB of its peak."""
LONGEST_FREEZE_S = 4.0
"""What lasts longer than this without a pause may be a new noise: the room follows it."""


@dataclass(frozen=True)
class Segment:
    """A segment of voice: samples ``onset`` .. ``offset`` of the stream (offset: after the last).

    ``offset`` is None while it goes on.
    """

    onset: int
    offset: int | None


class VoiceDetector:
    """Follows one stream of sound and finds the segments of voice in it.

    What it finds does not depend on how the stream is cut into blocks.
    """

    def __init__(self, sample_rate: int, room: Levels | None = None) -> None:
        """``room``: levels of a room known beforehand, shape (windows, bands)."""
        self.sample_rate = sample_rate
        self.position = 0  # samples taken
        self._bands = band_levels_at(sample_rate)
        self._hop = self._bands.hop
        self._rest = np.zeros(0, np.float32)
        self._levels = np.zeros((0, len(BANDS_HZ) - 1), np.float32)
        self._windows = 0  # of _levels that are filled
        self._room = RoomNoise(room)
        self._told = room is not None
        self._powers: list[float] = []  # of each ROOM_EVERY_S of the stream's beginning
        self._begun: int | None = None  # window at which the current voice was noticed
        self._last_active = 0
        self._peak = -np.inf
        self._recent = 0  # whether the last windows were active, one bit each, the newest lowest
        self._counted = 0  # windows among _recent
        self._found: list[_Found] = []

    @classmethod
    def of_recording(cls, levels: Levels, room: Levels, sample_rate: int) -> tuple[Segment, ...]:
        """The segments of a whole recording with these `voice_levels`, in a room that is known."""
        detector = cls(sample_rate, room)
        detector._take(levels)
        detector.close()
        return detector.segments

    @property
    def speaking(self) -> bool:
        """Whether a voice has begun and not yet ended."""
        return self._begun is not None

    def wants(self, quiet: int) -> int:
        """The position up to which samples may come in one go: before it, no voice that goes on or
        is yet to begin can have been over for ``quiet`` samples."""
        last = self._windows if self._begun is None else self._last_active + 1
        wanted = last * self._hop + quiet
        if not self._told and self._windows < MISTAKEN_S / HOP_S:
            # when the room is measured next, a voice may prove to be long over
            measured = (self._windows // EVERY + 1) * EVERY
            wanted = min(wanted, measured * self._hop + self._bands.width - self._hop)
        return wanted

    @property
    def quiet_since(self) -> int | None:
        """The sample after the last voice; None when there was none or it still goes on."""
        if self.speaking or not self._found:
            return None
        return self._sample(self._found[-1].last + 1)

    @property
    def segments(self) -> tuple[Segment, ...]:
        """What was found so far. The onset of a voice that goes on may still be refined."""
        done = [self._segment(found) for found in self._found]
        if self._begun is not None:
            now = _Found(self._begun, self._windows - 1, self._room.ceiling)
            done.append(Segment(self._segment(now).onset, None))
        return tuple(done)

    def feed(self, samples: Samples) -> None:
        """Take the next samples (n,)."""
        self.position += len(samples)
        sound = np.concatenate([self._rest, samples])
        levels = self._bands.levels(sound)
        self._rest = sound[len(levels) * self._hop :]
        self._take(levels)

    def close(self) -> None:
        """The stream is over: a voice that goes on ends here."""
        if self._begun is not None:
            self._end()

    def _take(self, levels: Levels) -> None:
        first = self._windows
        self._append(levels)
        while first < self._windows:  # pieces in which the room counts as unchanged
            stop = min(self._windows, (first // EVERY + 1) * EVERY)
            self._follow(first, stop)
            first = stop

    def _append(self, levels: Levels) -> None:
        needed = self._windows + len(levels)
        if needed > len(self._levels):
            grown = np.zeros(
                (max(needed, 2 * len(self._levels), 1000), levels.shape[1]), np.float32
            )
            grown[: self._windows] = self._levels[: self._windows]
            self._levels = grown
        self._levels[self._windows : needed] = levels
        self._windows = needed

    def _follow(self, first: int, stop: int) -> None:
        if self._room.known:
            self._look(first, self._levels[first:stop])
        if stop % EVERY != 0:
            return
        long_since = self._begun is not None and stop - self._begun > LONGEST_FREEZE_S / HOP_S
        if self._begun is None or long_since:
            self._room.follow(self._levels[stop - EVERY : stop])
        if not self._told and stop <= MISTAKEN_S / HOP_S:
            self._doubt(stop)

    def _look(self, first: int, levels: Levels) -> None:
        """Look for voice in ``levels``, whose first window is ``first``."""
        active = np.any(levels > self._room.bar, axis=1)
        if self._begun is None and not active.any():
            self._count(0, len(levels))
            return
        loudest: list[float] = levels.max(axis=1).tolist()
        for window, (now, level) in enumerate(zip(active.tolist(), loudest, strict=True), first):
            self._step(window, now, level)

    def _count(self, active: int, windows: int = 1) -> None:
        """Remember ``windows`` more, the last of them ``active`` (1) or not."""
        self._recent = (self._recent << windows | active) & ((1 << BEGIN_WINDOWS) - 1)
        self._counted = min(BEGIN_WINDOWS, self._counted + windows)

    def _doubt(self, stop: int) -> None:
        """Begin again with the quietest of what came so far, if that is a much quieter room."""
        self._powers.append(float(powers_of_tenths(self._levels[stop - EVERY : stop])[0]))
        quiet = quietest_tenths(self._levels[:stop], np.array(self._powers))
        if (self._room.ceiling - ceiling_of(quiet.T)).max() < MISTAKEN_DB:
            return
        self._room, self._begun, self._found = RoomNoise(quiet), None, []
        self._recent = self._counted = 0
        self._told = True
        for first in range(0, stop, EVERY):
            self._follow(first, first + EVERY)
        self._told = False

    def _step(self, window: int, active: bool, level: float) -> None:
        if self._begun is None:
            self._count(active)
            if active and self._recent.bit_count() >= BEGIN_SHARE * BEGIN_S / HOP_S:
                self._begun = window
                self._last_active = window
                self._peak = float(self._levels[window + 1 - self._counted : window + 1].max())
            return
        self._peak = max(self._peak, level)
        if active and level > self._peak - END_UNDER_PEAK_DB:
            self._last_active = window
        elif window - self._last_active >= END_S / HOP_S:
            self._end()

    def _end(self) -> None:
        assert self._begun is not None
        self._found.append(_Found(self._begun, self._last_active, self._room.ceiling))
        self._begun = None
        self._recent = self._counted = 0

    def _segment(self, found: _Found) -> Segment:
        """Onset and offset of a voice that was noticed at ``found.noticed``."""
        before = [other.last + 1 for other in self._found if other.last < found.noticed]
        first = max([0, found.noticed - round(LOOK_BACK_S / HOP_S), *before])
        levels = self._levels[first : found.last + 1]
        total = 10 * np.log10((10 ** (levels / 10)).sum(axis=1))
        peak = float(total.max())
        least = peak - UNDER_PEAK_DB - UNDER_PEAK_TILT_DB * np.arange(levels.shape[1])
        excess = (levels - np.maximum(found.ceiling + MARGIN_DB, least)).max(axis=1)
        weight = np.clip(excess / ACTIVE_SPAN_DB, 0.0, ACTIVE_WEIGHT)
        evidence = np.where(excess > 0, weight, -QUIET_WEIGHT)
        loud = _first_lasting(total > peak - LOUD_UNDER_PEAK_DB, round(LOUD_S / HOP_S))
        back = max(0, loud - round(LOOK_BACK_S / HOP_S))
        summed = np.cumsum(evidence[back : loud + 1][::-1])[::-1]
        onset = first + back + int(np.argmax(summed))
        return Segment(self._sample(onset), self._sample(found.last + 1))

    def _sample(self, window: int) -> int:
        """The first sample of a window: on the hand-set labels this has no bias."""
        return window * self._hop


def _first_lasting(true: NDArray[np.bool_], length: int) -> int:
    """The first index that is true, as are most of the ``length`` from it on; else the first."""
    summed = np.concatenate([[0], np.cumsum(true)])
    ends = np.minimum(np.arange(len(true)) + length, len(true))
    lasting = true & (2 * (summed[ends] - summed[:-1]) > length)
    return int(np.argmax(lasting if lasting.any() else true))


@dataclass(frozen=True, eq=False)
class _Found:
    """A voice: the windows in which it was noticed and last active, the room's levels then."""

    noticed: int
    last: int
    ceiling: Levels
