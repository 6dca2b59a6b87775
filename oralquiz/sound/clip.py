"""A clip: one spoken phrase as samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
"""Mono sound, float32 in [-1, 1], shape (n,)."""


@dataclass(frozen=True, eq=False)
class Clip:
    """One spoken phrase: ``samples`` (n,) float32 mono at ``sample_rate`` hertz."""

    samples: Samples
    sample_rate: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.sample_rate


def faded(clip: Clip, seconds: float) -> Clip:
    """``clip`` with its first and last ``seconds`` raised and lowered, so that no join clicks."""
    length = min(round(seconds * clip.sample_rate), len(clip.samples) // 2)
    samples = clip.samples.copy()
    ramp = (0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / length)).astype(np.float32)
    samples[:length] *= ramp
    samples[len(samples) - length :] *= ramp[::-1]
    return Clip(samples, clip.sample_rate)
