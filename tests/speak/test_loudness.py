from __future__ import annotations

import numpy as np
import pytest

from oralquiz.sound.clip import Clip
from oralquiz.speak.loudness import PEAK_DBTP, level, loudness, true_peak
from tests.speak.sounds import tone

RATE = 22_050


def test_clips_of_any_loudness_and_length_come_out_equal() -> None:
    clips = [
        Clip(tone(0.9, RATE) * np.float32(0.3), RATE),
        Clip(tone(0.12, RATE, 150) * np.float32(0.01), RATE),
        Clip(tone(0.4, RATE, 300), RATE),
    ]
    for clip in level(clips, -23.0):
        assert loudness(clip) == pytest.approx(-23.0, abs=0.05)
        assert true_peak(clip) < PEAK_DBTP


def test_a_clip_of_one_click_lowers_all_rather_than_overload() -> None:
    clicks = np.zeros(RATE // 2, np.float32)
    clicks[100::4000] = 0.5
    clips = level([Clip(clicks, RATE), Clip(tone(0.5, RATE), RATE)], -14.0)
    assert true_peak(clips[0]) == pytest.approx(PEAK_DBTP, abs=0.05)
    assert true_peak(clips[0]) < PEAK_DBTP
    assert loudness(clips[1]) == pytest.approx(loudness(clips[0]), abs=0.05)
    assert loudness(clips[1]) < -14.5


def test_the_true_peak_lies_between_the_samples() -> None:
    # a sine at a quarter of the rate, sampled 45 degrees off its tops: 3.01 dB between samples
    between = np.sin(2 * np.pi * 0.25 * np.arange(RATE) + np.pi / 4).astype(np.float32)
    assert true_peak(Clip(between, RATE)) == pytest.approx(0.0, abs=0.2)
    assert 20 * np.log10(np.abs(between).max()) == pytest.approx(-3.01, abs=0.01)


def test_silence_has_no_loudness() -> None:
    silent = Clip(np.zeros(RATE, np.float32), RATE)
    assert loudness(silent) == float("-inf")
    assert true_peak(silent) == float("-inf")
