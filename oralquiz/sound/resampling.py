"""Sound brought to another sample rate. The one place that resamples, by libsoxr."""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
import soxr
from numpy.typing import NDArray

from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.clip import Clip, Samples

Quality = Literal["HQ", "VHQ"]
"""libsoxr's: HQ has 20 bits, what is recognised or recorded is made with it; VHQ has 28 bits, what
is dictated is made with it. Recorded sessions and measured figures hold each to its own."""

Floats = TypeVar("Floats", np.float32, np.float64)


def resample(
    samples: NDArray[Floats], rate: int, wanted: int, quality: Quality = "HQ"
) -> NDArray[Floats]:
    """``samples`` (n,) at ``rate`` hertz, band-limited, at ``wanted`` hertz."""
    if rate == wanted:
        return samples
    resampled: NDArray[Floats] = soxr.resample(samples, rate, wanted, quality)
    return resampled


class StreamResampler:
    """Resamples a stream piece by piece, without a seam between the pieces."""

    def __init__(self, rate: int, wanted: int) -> None:
        self._stream = soxr.ResampleStream(rate, wanted, 1, dtype="float32", quality="HQ")

    def feed(self, samples: Samples) -> Samples:
        """What ``samples`` (n,) complete at the wanted rate, (m,)."""
        resampled: Samples = self._stream.resample_chunk(samples)
        return resampled


def at_rate(clip: Clip, sample_rate: int | None, quality: Quality = "VHQ") -> Clip:
    """``clip`` at ``sample_rate`` hertz (None: at its own)."""
    if sample_rate is None or sample_rate == clip.sample_rate:
        return clip
    return Clip(resample(clip.samples, clip.sample_rate, sample_rate, quality), sample_rate)


def at_session_rate(clip: Clip) -> Clip:
    """``clip`` at SESSION_RATE."""
    return at_rate(clip, SESSION_RATE, "HQ")
