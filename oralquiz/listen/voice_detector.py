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

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from oralquiz.sound import Samples

Levels = NDArray[np.float32]
"""Decibels re full scale, shape (windows, bands)."""

HOP_S = 0.002
WINDOW_S = 0.008
BANDS_HZ = (120, 450, 1000, 2000, 3500, 5500, 7900)
LEAST_DB = -80.0
"""A band is never quieter than this: what lies below is rounding, not the room."""

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
"""The room is measured anew this often; between, it counts as unchanged."""
EVERY = round(ROOM_EVERY_S / HOP_S)
ROOM_LEAST_DB = LEAST_DB + 6
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
        self._bands = _bands(sample_rate)
        self._hop = self._bands.hop
        self._rest = np.zeros(0, np.float32)
        self._levels = np.zeros((0, len(BANDS_HZ) - 1), np.float32)
        self._windows = 0  # of _levels that are filled
        self._room = _Room(room)
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

    @property
    def looks_at(self) -> int:
        """The position by which the next samples are wanted. While no voice was found, that is
        where the room is measured next: no voice ends before, so all of them may come at once."""
        if self._begun is not None or self._found:
            return self.position
        measured = (self._windows // EVERY + 1) * EVERY
        return measured * self._hop + self._bands.width - self._hop

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
        self._powers.append(float(_powers(self._levels[stop - EVERY : stop])[0]))
        quiet = _pieces(self._levels[:stop])[_quiet(np.array(self._powers))]
        quiet = quiet.reshape(-1, quiet.shape[2])
        if (self._room.ceiling - _ceiling(quiet.T)).max() < MISTAKEN_DB:
            return
        self._room, self._begun, self._found = _Room(quiet), None, []
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


class _Bands:
    """Short-time levels in bands: a windowed Fourier transform of the bins that lie in a band.

    Written as a product with a matrix, which at this size costs less than calling an FFT.
    """

    def __init__(self, sample_rate: int) -> None:
        self.hop = round(HOP_S * sample_rate)
        self.width = round(WINDOW_S * sample_rate)
        shape = np.hanning(self.width + 1)[:-1].astype(np.float32)
        hertz = np.fft.rfftfreq(self.width, 1 / sample_rate)
        edges = itertools.pairwise(BANDS_HZ)
        sums = np.stack([(hertz >= low) & (hertz < high) for low, high in edges], axis=1)
        used = np.flatnonzero(sums.any(axis=1))
        angle = 2 * np.pi * np.outer(np.arange(self.width), used) / self.width
        transform = np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
        self._transform = (shape[:, None] * transform).astype(np.float32)  # (width, 2 bins)
        scale = 2 / (self.width * float((shape**2).sum()))
        self._sums = np.tile(sums[used] * scale, (2, 1)).astype(np.float32)  # (2 bins, bands)

    def levels(self, sound: Samples) -> Levels:
        """Levels of every whole window in ``sound`` (n,)."""
        count = max(0, (len(sound) - self.width) // self.hop + 1)
        sound = np.ascontiguousarray(sound, np.float32)
        power = np.empty((count, self._sums.shape[1]), np.float32)
        for first in range(0, count, AT_ONCE):
            some = min(AT_ONCE, count - first)
            step = sound.itemsize
            windows = np.ndarray(
                (some, self.width), np.float32, sound, first * self.hop * step,
                (self.hop * step, step),
            )  # fmt: skip
            parts = windows @ self._transform
            np.matmul(np.square(parts, out=parts), self._sums, out=power[first : first + some])
        power += np.float32(1e-12)
        levels: Levels = 10 * np.log10(power, out=power)
        return np.maximum(levels, LEAST_DB, out=levels)


AT_ONCE = 16
"""Windows in one product. With more the linear algebra library starts threads, which costs more
than it saves and slows down everybody else in a class."""


@cache
def _bands(sample_rate: int) -> _Bands:
    return _Bands(sample_rate)


class _Room:
    """The levels below which a room without voice stays, band by band."""

    def __init__(self, known: Levels | None) -> None:
        bands = len(BANDS_HZ) - 1
        self._ring = np.zeros((bands, round(ROOM_S / HOP_S)), np.float32)
        self._filled = 0
        self._next = 0
        self.known = known is not None
        self._set(np.full(bands, LEAST_DB, np.float32))
        if known is not None:
            recent = known[-self._ring.shape[1] :]
            self._filled = len(recent)
            self._ring[:, : self._filled] = recent.T
            self._next = self._filled % self._ring.shape[1]
            self._set(_ceiling(self._ring[:, : self._filled]))

    def follow(self, levels: Levels) -> None:
        """Take the next windows without voice."""
        length = self._ring.shape[1]
        places = np.arange(self._next, self._next + len(levels)) % length
        self._ring[:, places] = levels.T
        self._next = (self._next + len(levels)) % length
        self._filled = min(self._filled + len(levels), length)
        self.known = True
        self._set(_ceiling(self._ring[:, : self._filled]))

    def _set(self, ceiling: Levels) -> None:
        self.ceiling = ceiling  # (bands,)
        self.bar = ceiling + np.float32(MARGIN_DB)


def _ceiling(levels: Levels) -> Levels:
    """The 99th centile of a room's ``levels``, shape (bands, windows), in each band.

    Robust against some voice among the windows, since it comes from their lower half: the levels
    of noise are log-chi-square with 2..10 degrees of freedom; their 99th centile lies 1.2 to 1.4
    times as far above the median as the 10th lies below.
    """
    tenth, half = levels.shape[1] // 10, levels.shape[1] // 2
    ordered = np.partition(levels, half, axis=1)  # one place at a time: a fifth of both at once
    median = ordered[:, half].copy()
    if tenth < half:
        ordered[:, :half].partition(tenth, axis=1)
    ceiling: Levels = np.maximum(median + 1.3 * (median - ordered[:, tenth]), ROOM_LEAST_DB)
    return ceiling


def voice_levels(samples: Samples, sample_rate: int) -> Levels:
    """The levels by which a voice is found in a whole recording (n,), shape (windows, bands)."""
    return _bands(sample_rate).levels(samples)


def quietest(levels: Levels) -> Levels:
    """The windows of the quietest fifth of all tenths of a second of a recording: its room, as far
    as that can be known."""
    if len(levels) < EVERY:
        return levels
    return _pieces(levels)[_quiet(_powers(levels))].reshape(-1, levels.shape[1])


def silent_room() -> Levels:
    """A room that makes no sound: only the voice's own peak tells what is voice."""
    return np.full((1, len(BANDS_HZ) - 1), LEAST_DB, np.float32)


def spread_db(levels: Levels) -> float:
    """How far a recording's level goes up and down, from 20 ms to 20 ms, in decibels.

    Between its 10th and 90th centile: a steady noise stays within 5 dB, a word does not.
    """
    power = 10 ** (levels / 10)
    width = round(0.02 / HOP_S)
    pieces = power[: len(power) // width * width].reshape(-1, width * power.shape[1])
    if len(pieces) == 0:
        return 0.0
    low, high = np.percentile(10 * np.log10(pieces.mean(axis=1)), [10, 90])
    return float(high - low)


def _pieces(levels: Levels) -> Levels:
    """``levels`` in whole tenths of a second, shape (pieces, EVERY, bands)."""
    return levels[: len(levels) // EVERY * EVERY].reshape(-1, EVERY, levels.shape[1])


def _powers(levels: Levels) -> Levels:
    """The mean power of each whole tenth of a second, shape (pieces,)."""
    power: Levels = (10 ** (_pieces(levels) / 10)).mean(axis=(1, 2))
    return power


def _quiet(power: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Which pieces are the quietest fifth, at least one."""
    quiet: NDArray[np.bool_] = power <= np.sort(power)[(len(power) - 1) // 5]
    return quiet
