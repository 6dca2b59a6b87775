"""Small sounds that the tests share."""

from __future__ import annotations

import soxr

from oralquiz.speak.clip import Clip


def at_rate(clip: Clip, sample_rate: int) -> Clip:
    """``clip`` resampled."""
    return Clip(soxr.resample(clip.samples, clip.sample_rate, sample_rate), sample_rate)
