"""One loudness for every clip, without overload.

Loudness is ITU-R BS.1770's, by pyloudnorm; true peak is BS.1770 annex 2's, on four times
oversampled sound. Clips shorter than the standard's 0.4 s block are measured as one block.
"""

from __future__ import annotations

import warnings

import numpy as np

from oralquiz.sound import Clip, resample
from oralquiz.speak.worked_out import once_a_clip

LOUDNESS_LUFS = -23.0
"""The level of EBU R 128. The voices' peaks lie 16 to 21 dB over their loudness: louder, a peaky
phrase would lower its whole dictation to keep under PEAK_DBTP, and sums would differ."""

PEAK_DBTP = -1.0
BLOCK_S = 0.4


@once_a_clip
def loudness(clip: Clip) -> float:
    """Integrated loudness in LUFS (-inf for silence)."""
    import pyloudnorm  # two seconds and 40 MB, which a process that only hears can do without

    # one sample less than the clip, so that its length is not rounded up to more than there is
    longest = (len(clip.samples) - 1) / clip.sample_rate
    meter = pyloudnorm.Meter(clip.sample_rate, block_size=min(BLOCK_S, longest))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # log of zero, for silence
        return float(meter.integrated_loudness(clip.samples.astype(np.float64)))


@once_a_clip
def true_peak(clip: Clip) -> float:
    """True peak in dBTP (-inf for silence)."""
    over = resample(clip.samples.astype(np.float64), clip.sample_rate, 4 * clip.sample_rate)
    peak = max(float(np.abs(over).max(initial=0.0)), float(np.abs(clip.samples).max(initial=0.0)))
    return 20 * np.log10(peak) if peak > 0 else float("-inf")


def level(clips: list[Clip], target: float = LOUDNESS_LUFS) -> list[Clip]:
    """Every clip at one loudness: ``target`` LUFS, or less where a true peak would pass
    PEAK_DBTP."""
    gains = [target - loudness(clip) for clip in clips]
    room = min(
        (PEAK_DBTP - true_peak(clip) - gain for clip, gain in zip(clips, gains, strict=True)),
        default=0.0,
    )
    # a hundredth of a decibel keeps the peak under the limit after rounding to 16 bits
    lower = min(0.0, room - 0.01)
    return [
        Clip((clip.samples * 10 ** ((gain + lower) / 20)).astype(np.float32), clip.sample_rate)
        for clip, gain in zip(clips, gains, strict=True)
    ]
