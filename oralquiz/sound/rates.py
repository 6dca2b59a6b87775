"""Sound brought to another sample rate."""

from __future__ import annotations

import soxr

from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.clip import Clip


def at_session_rate(clip: Clip) -> Clip:
    """``clip`` resampled to SESSION_RATE."""
    if clip.sample_rate == SESSION_RATE:
        return clip
    return Clip(soxr.resample(clip.samples, clip.sample_rate, SESSION_RATE), SESSION_RATE)
