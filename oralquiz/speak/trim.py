"""Where the voice of a clip starts and ends.

Definition used everywhere in the package: the onset is the first sample from which the next
``WINDOW_S`` of sound, after pre-emphasis, has a level above the threshold; the offset is the
sample after the last such window. The threshold is the loudest such window less ``RANGE_DB``, and
at least ``MARGIN_DB`` over the clip's own noise. Pre-emphasis (first difference, factor 0.95)
lifts the hiss of /s/, /f/ and /th/ towards the level of the vowels, so that the onset of "six" is
its hiss and not its vowel.
"""

from __future__ import annotations

import numpy as np

from oralquiz.errors import AudioError
from oralquiz.sound import Clip, Samples

WINDOW_S = 0.003
RANGE_DB = 40.0
MARGIN_DB = 12.0
PRE_EMPHASIS = 0.95
_SILENCE = 1e-5  # about a third of one step of 16-bit sound


def voice_bounds(samples: Samples, sample_rate: int) -> tuple[int, int] | None:
    """Onset and offset (exclusive) of the voice in ``samples`` (n,); None if there is no sound."""
    window = max(1, round(WINDOW_S * sample_rate))
    if len(samples) < window:
        return None
    sharp = samples.astype(np.float64)
    sharp[1:] -= PRE_EMPHASIS * samples[:-1]
    power = np.cumsum(np.concatenate(([0.0], sharp**2)))
    level = np.sqrt(np.maximum(power[window:] - power[:-window], 0.0) / window)
    loudest = float(level.max())
    if loudest < _SILENCE:
        return None
    noise = float(np.quantile(level, 0.05))
    threshold = max(
        loudest * 10 ** (-RANGE_DB / 20),
        min(noise * 10 ** (MARGIN_DB / 20), loudest / 4),
        _SILENCE,
    )
    loud = np.flatnonzero(level > threshold)
    return int(loud[0]), int(loud[-1]) + window


def trim(clip: Clip) -> Clip:
    """The clip from the onset of its voice to its offset. Raises AudioError if it is silent."""
    bounds = voice_bounds(clip.samples, clip.sample_rate)
    if bounds is None:
        raise AudioError("the clip holds no sound")
    onset, offset = bounds
    return Clip(clip.samples[onset:offset].copy(), clip.sample_rate)
