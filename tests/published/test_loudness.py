"""Loudness and true peak against the standard's own figures.

ITU-R BS.1770-4, annex 1: a 997 Hz sine at 0 dBFS in one front channel reads -3.01 LKFS; so one
peaking at -20 dBFS reads -23.01, the level of EBU R 128. Annex 2: the true peak of a signal lies
between its samples and is found by oversampling; a sine at a quarter of the rate, sampled 45
degrees off its tops, peaks 3.01 dB over its samples.
"""

from __future__ import annotations

import numpy as np
import pytest

from oralquiz.sound.clip import Clip
from oralquiz.speak.loudness import loudness, true_peak


def sine(hertz: float, dbfs: float, rate: int, phase: float = 0.0, seconds: float = 3.0) -> Clip:
    t = np.arange(round(seconds * rate)) / rate
    wave = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hertz * t + phase)
    return Clip(wave.astype(np.float32), rate)


@pytest.mark.parametrize("rate", [48_000, 22_050, 16_000])
@pytest.mark.parametrize("dbfs", [-20.0, -40.0])
def test_a_sine_reads_what_the_standard_says(rate: int, dbfs: float) -> None:
    # the K-weighting is defined at 48 kHz; at other rates its filters are designed for that rate
    tolerance = 0.05 if rate == 48_000 else 0.3
    assert loudness(sine(997, dbfs, rate)) == pytest.approx(dbfs - 3.01, abs=tolerance)


@pytest.mark.parametrize("rate", [48_000, 22_050, 16_000])
def test_the_true_peak_is_between_the_samples(rate: int) -> None:
    clip = sine(rate / 4, -6.0, rate, phase=np.pi / 4)
    assert true_peak(clip) == pytest.approx(-6.0, abs=0.4)  # annex 2 allows +0.2 / -0.4
    assert 20 * np.log10(np.abs(clip.samples).max()) == pytest.approx(-9.01, abs=0.01)
