"""Sound at another rate, whole and piece by piece."""

from __future__ import annotations

import numpy as np
import pytest

from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.clip import Clip, Samples
from oralquiz.sound.resampling import StreamResampler, at_rate, at_session_rate, resample


def tone(hertz: float, rate: int, seconds: float = 1.0) -> Samples:
    wave = 0.5 * np.sin(2 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)
    return wave.astype(np.float32)


def test_a_tone_stays_a_tone() -> None:
    found = resample(tone(440, 48_000), 48_000, 16_000)
    assert found.dtype == np.float32
    assert np.abs(found - tone(440, 16_000))[1600:-1600].max() < 1e-4


def test_what_the_new_rate_cannot_hold_is_left_out() -> None:
    assert np.abs(resample(tone(12_000, 48_000), 48_000, 16_000)[1600:-1600]).max() < 0.001


def test_at_its_own_rate_nothing_is_done() -> None:
    clip = Clip(tone(440, 22_050), 22_050)
    assert at_rate(clip, None) is clip
    assert at_rate(clip, 22_050) is clip
    assert at_session_rate(clip).sample_rate == SESSION_RATE


@pytest.mark.parametrize("piece", [160, 441, 5_000])
def test_a_stream_is_what_the_whole_would_be(piece: int) -> None:
    whole = tone(440, 44_100)
    stream = StreamResampler(44_100, 16_000)
    found = np.concatenate(
        [stream.feed(whole[at : at + piece]) for at in range(0, len(whole), piece)]
    )
    middle = slice(1600, len(found) - 1600)
    assert len(found) > 15_000
    assert np.abs(found[middle] - tone(440, 16_000)[middle]).max() < 1e-4
