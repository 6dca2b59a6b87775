"""Samples as 16-bit PCM: what a recording keeps, what a page sends, what a WAV file holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oralquiz.sound.clip import Samples

Pcm = NDArray[np.int16]
"""16-bit samples, shape (n,), or (n, channels)."""

FULL_SCALE = 32768
"""Steps of 1.0; the highest that 16 bits hold is one less."""


def to_pcm16(samples: Samples) -> Pcm:
    """``samples`` (n,) or (n, channels), rounded to the nearest step and limited to full scale."""
    pcm: Pcm = _steps(samples).astype("<i2")
    return pcm


def from_pcm16(pcm: Pcm | bytes) -> Samples:
    """``pcm``, steps of any shape or little-endian bytes, as float32 in [-1, 1) of that shape.

    Of bytes, half a step at their end is left out.
    """
    if isinstance(pcm, bytes):
        pcm = np.frombuffer(pcm, "<i2", len(pcm) // 2)
    return pcm.astype(np.float32) / np.float32(FULL_SCALE)


def quantise(samples: Samples) -> Samples:
    """``samples`` rounded to a recording's 16 bits, so that hearing it again hears the same."""
    return _steps(samples).astype(np.float32, copy=False) / np.float32(FULL_SCALE)


def _steps(samples: Samples) -> Samples:
    """``samples`` in whole steps, of the same shape: written into one array, since a class sends a
    thousand and more blocks a second."""
    steps = np.multiply(samples, np.float32(FULL_SCALE))
    np.rint(steps, out=steps)
    np.maximum(steps, -FULL_SCALE, out=steps)
    return np.minimum(steps, FULL_SCALE - 1, out=steps)
