"""How loud sound is, window by window, in six bands of frequency."""

from __future__ import annotations

import itertools
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
AT_ONCE = 16
"""Windows in one product. With more the linear algebra library starts threads, which costs more
than it saves and slows down everybody else in a class."""


class BandLevels:
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


@cache
def band_levels_at(sample_rate: int) -> BandLevels:
    """For sound of ``sample_rate`` hertz; made once for each rate."""
    return BandLevels(sample_rate)


def voice_levels(samples: Samples, sample_rate: int) -> Levels:
    """The levels by which a voice is found in a whole recording (n,), shape (windows, bands)."""
    return band_levels_at(sample_rate).levels(samples)


def spread_db(levels: Levels) -> float:
    """How far a recording's level varies between pieces of 20 ms, in decibels.

    Between its 10th and 90th centile: a steady noise stays within 5 dB, a word does not.
    """
    power = 10 ** (levels / 10)
    width = round(0.02 / HOP_S)
    pieces = power[: len(power) // width * width].reshape(-1, width * power.shape[1])
    if len(pieces) == 0:
        return 0.0
    low, high = np.percentile(10 * np.log10(pieces.mean(axis=1)), [10, 90])
    return float(high - low)
