"""Where a voice begins and ends, on the stream's own clock.

A recogniser's word times and a loudness threshold both come late on the weak first sounds of the
number words (/f/, /th/, /s/, /z/), each by another amount. Here the sound is cut into short
overlapping windows and six bands. A band is *active* when it rises above what the room does in
it, and above a level so far below the voice's own peak that nobody would call it voice. From the
first loud part of the voice the onset is sought backwards, as the point from which the evidence
for voice, summed up to the loud part, is greatest: a change point, not a threshold. A lip click
parted from the voice by quiet does not outweigh that quiet; a weak fricative that runs into the
vowel does.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from oralquiz.sound import Samples

Levels = NDArray[np.float32]
"""Decibels re full scale, shape (windows, bands)."""

HOP_S = 0.002
WINDOW_S = 0.008
BANDS_HZ = (120, 450, 1000, 2000, 3500, 5500, 7900)
LEAST_DB = -80.0
"""A band is never quieter than this: below lies the arithmetic of the file, not the room."""

MARGIN_DB = 3.0
"""How far above the room's own peaks (99 of 100 windows) a band is active."""
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

ROOM_S = 3.0
"""Seconds of sound without voice from which the room is known."""
ROOM_EVERY_S = 0.1
ROOM_LEAST_DB = LEAST_DB + 6
MISTAKEN_S = 3.0
MISTAKEN_DB = 10.0
"""What fills the first moments of a stream is taken for the room. When within 3 s a band turns out
to be 10 dB quieter at times, it was a voice: everything is looked at once more."""
BEGIN_S = 0.08
BEGIN_SHARE = 0.6
"""A voice has begun when this share of the last 80 ms was active."""
END_S = 0.06
END_UNDER_PEAK_DB = 34.0
"""A voice has ended when 60 ms held nothing active within 34 dB of its peak."""
LONGEST_FREEZE_S = 4.0
"""What lasts longer than this without a pause may be a new noise: the room follows it."""


@dataclass(frozen=True)
class Segment:
    """One stretch of voice: samples ``onset`` .. ``offset`` of the stream (offset: after the last).

    ``offset`` is None while it goes on.
    """

    onset: int
    offset: int | None


class VoiceDetector:
    """Follows one stream of sound and finds its stretches of voice.

    What it finds does not depend on how the stream is cut into blocks.
    """

    def __init__(self, sample_rate: int, room: Levels | None = None) -> None:
        """``room``: levels of a room known beforehand (`room_of`), shape (windows, bands)."""
        self.sample_rate = sample_rate
        self.position = 0  # samples taken
        self._hop = round(HOP_S * sample_rate)
        self._bands = _Bands(sample_rate)
        self._rest = np.zeros(0, np.float32)
        self._levels = np.zeros((0, len(BANDS_HZ) - 1), np.float32)
        self._windows = 0  # of _levels that are filled
        self._room = _Room(room)
        self._told = room is not None
        self._begun: int | None = None  # window at which the current voice was noticed
        self._last_active = 0
        self._peak = -np.inf
        self._recent: list[bool] = []
        self._found: list[_Found] = []

    @property
    def on(self) -> bool:
        """Whether a voice has begun and not yet ended."""
        return self._begun is not None

    @property
    def quiet_since(self) -> int | None:
        """The sample after the last voice; None when there was none or it still goes on."""
        if self.on or not self._found:
            return None
        return self._sample(self._found[-1].last + 1)

    @property
    def stretches(self) -> tuple[Segment, ...]:
        """What was found so far. The onset of a voice that goes on may still be refined."""
        done = [self._stretch(found) for found in self._found]
        if self._begun is not None:
            now = _Found(self._begun, self._windows - 1, self._room.ceiling)
            done.append(Segment(self._stretch(now).onset, None))
        return tuple(done)

    def feed(self, samples: Samples) -> None:
        """Take the next samples (n,)."""
        self.position += len(samples)
        sound = np.concatenate([self._rest, samples])
        levels = self._bands.levels(sound)
        self._rest = sound[len(levels) * self._hop :]
        first = self._windows
        self._append(levels)
        every = round(ROOM_EVERY_S / HOP_S)
        while first < self._windows:  # pieces in which the room counts as unchanged
            stop = min(self._windows, (first // every + 1) * every)
            self._follow(first, stop)
            first = stop

    def close(self) -> None:
        """The stream is over: a voice that goes on ends here."""
        if self._begun is not None:
            self._end()

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
        levels = self._levels[first:stop]
        if self._room.known:
            active = np.any(levels > self._room.ceiling + MARGIN_DB, axis=1)
            loudest = levels.max(axis=1)
            for index in range(len(levels)):
                self._step(first + index, bool(active[index]), float(loudest[index]))
        every = round(ROOM_EVERY_S / HOP_S)
        if stop % every != 0:
            return
        long_since = self._begun is not None and stop - self._begun > LONGEST_FREEZE_S / HOP_S
        if self._begun is None or long_since:
            self._room.follow(self._levels[stop - every : stop])
        if not self._told and stop <= MISTAKEN_S / HOP_S:
            self._doubt(stop)

    def _doubt(self, stop: int) -> None:
        """Begin again with the quietest of what came so far, if that is a much quieter room."""
        quieter = _Room(_quietest(self._levels[:stop]))
        if (self._room.ceiling - quieter.ceiling).max() < MISTAKEN_DB:
            return
        self._room, self._begun, self._recent, self._found = quieter, None, [], []
        every = round(ROOM_EVERY_S / HOP_S)
        self._told = True
        for first in range(0, stop, every):
            self._follow(first, first + every)
        self._told = False

    def _step(self, window: int, active: bool, level: float) -> None:
        if self._begun is None:
            self._recent = [*self._recent[1 - round(BEGIN_S / HOP_S) :], active]
            if active and sum(self._recent) >= BEGIN_SHARE * BEGIN_S / HOP_S:
                self._begun = window
                self._last_active = window
                self._peak = float(self._levels[window + 1 - len(self._recent) : window + 1].max())
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
        self._recent = []

    def _stretch(self, found: _Found) -> Segment:
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


class _Bands:
    """Short-time levels in bands."""

    def __init__(self, sample_rate: int) -> None:
        self.hop = round(HOP_S * sample_rate)
        self.width = round(WINDOW_S * sample_rate)
        self._shape = np.hanning(self.width + 1)[:-1].astype(np.float32)
        hertz = np.fft.rfftfreq(self.width, 1 / sample_rate)
        edges = itertools.pairwise(BANDS_HZ)
        self._sums = np.stack(
            [(hertz >= low) & (hertz < high) for low, high in edges], axis=1
        ).astype(np.float32)
        self._sums *= 2 / (self.width * float((self._shape**2).sum()))

    def levels(self, sound: Samples) -> Levels:
        """Levels of every whole window in ``sound`` (n,)."""
        if len(sound) < self.width:
            return np.zeros((0, self._sums.shape[1]), np.float32)
        windows = np.lib.stride_tricks.sliding_window_view(sound, self.width)[:: self.hop]
        spectrum = np.fft.rfft(windows * self._shape, axis=1)
        power = (spectrum.real**2 + spectrum.imag**2).astype(np.float32) @ self._sums
        levels: Levels = np.maximum(10 * np.log10(power + 1e-12), LEAST_DB)
        return levels


class _Room:
    """The levels that a room without voice keeps under, band by band."""

    def __init__(self, known: Levels | None) -> None:
        self._ring = np.zeros((round(ROOM_S / HOP_S), len(BANDS_HZ) - 1), np.float32)
        self._filled = 0
        self._next = 0
        self.known = known is not None
        self.ceiling = np.full(len(BANDS_HZ) - 1, LEAST_DB, np.float32)
        if known is not None:
            recent = known[-len(self._ring) :]
            self._ring[: len(recent)] = recent
            self._filled = self._next = len(recent)
            self._next %= len(self._ring)
            self._measure()

    def follow(self, levels: Levels) -> None:
        """Take the next windows without voice."""
        places = np.arange(self._next, self._next + len(levels)) % len(self._ring)
        self._ring[places] = levels
        self._next = (self._next + len(levels)) % len(self._ring)
        self._filled = min(self._filled + len(levels), len(self._ring))
        self.known = True
        self._measure()

    def _measure(self) -> None:
        """Robust against some voice among the windows: from their lower half.

        The levels of noise are log-chi-square with 2..10 degrees of freedom; their 99th centile
        lies 1.2 to 1.4 times as far above the median as the 10th lies below.
        """
        filled = self._filled
        tenth, half = filled // 10, filled // 2
        ordered = np.partition(self._ring[:filled], (tenth, half), axis=0)
        median = ordered[half]
        self.ceiling = np.maximum(median + 1.3 * (median - ordered[tenth]), ROOM_LEAST_DB)


def room_of(samples: Samples, sample_rate: int) -> Levels:
    """The quietest fifth of a whole recording (n,): its room, as far as it can be known."""
    return _quietest(_Bands(sample_rate).levels(samples))


def silent_room() -> Levels:
    """A room that makes no sound: only the voice's own peak tells what is voice."""
    return np.full((1, len(BANDS_HZ) - 1), LEAST_DB, np.float32)


def spread_db(samples: Samples, sample_rate: int) -> float:
    """How far the level of ``samples`` (n,) goes up and down, from 20 ms to 20 ms.

    Between its 10th and 90th centile, in decibels: a steady noise stays within 5, a word does not.
    """
    power = 10 ** (_Bands(sample_rate).levels(samples) / 10)
    width = round(0.02 / HOP_S)
    pieces = power[: len(power) // width * width].reshape(-1, width * power.shape[1])
    if len(pieces) == 0:
        return 0.0
    low, high = np.percentile(10 * np.log10(pieces.mean(axis=1)), [10, 90])
    return float(high - low)


def _quietest(levels: Levels) -> Levels:
    """The windows of the quietest fifth of all tenths of a second."""
    width = round(ROOM_EVERY_S / HOP_S)
    if len(levels) < width:
        return levels
    pieces = levels[: len(levels) // width * width].reshape(-1, width, levels.shape[1])
    power = (10 ** (pieces / 10)).mean(axis=(1, 2))
    quiet: Levels = pieces[power <= np.quantile(power, 0.2)].reshape(-1, levels.shape[1])
    return quiet
