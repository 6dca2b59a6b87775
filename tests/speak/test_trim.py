from __future__ import annotations

import numpy as np
import pytest

from oralquiz.errors import AudioError
from oralquiz.sound.clip import Clip
from oralquiz.speak.trim import WINDOW_S, trim, voice_bounds
from tests.speak.sounds import tone

RATE = 22_050
WINDOW = round(WINDOW_S * RATE)


@pytest.mark.parametrize("noise", [0.0, 1e-4, 1e-3])
def test_the_bounds_are_the_voice_within_one_window(noise: float) -> None:
    sound = np.zeros(RATE, np.float32)
    sound[4000:12_000] = tone(1, RATE)[:8000]
    sound += noise * np.random.default_rng(1).standard_normal(RATE).astype(np.float32)
    bounds = voice_bounds(sound, RATE)
    assert bounds is not None
    assert abs(bounds[0] - 4000) <= WINDOW
    assert abs(bounds[1] - 12_000) <= WINDOW


def test_a_weak_hiss_before_the_vowel_belongs_to_the_voice() -> None:
    rng = np.random.default_rng(2)
    sound = np.zeros(RATE, np.float32)
    # /f/ before a vowel: 120 ms of hiss, 30 dB below the vowel before pre-emphasis
    vowel = tone(0.3, RATE)
    hiss = rng.standard_normal(round(0.12 * RATE)) * np.std(vowel) * 10 ** (-30 / 20)
    sound[3000 : 3000 + len(hiss)] = hiss
    sound[3000 + len(hiss) : 3000 + len(hiss) + len(vowel)] = vowel
    bounds = voice_bounds(sound, RATE)
    assert bounds is not None
    assert abs(bounds[0] - 3000) <= WINDOW


def test_trimming_keeps_every_sample_of_the_voice() -> None:
    sound = np.concatenate([np.zeros(500, np.float32), tone(0.2, RATE), np.zeros(900, np.float32)])
    clip = trim(Clip(sound, RATE))
    assert abs(len(clip.samples) - round(0.2 * RATE)) <= 2 * WINDOW
    assert float(np.sum(clip.samples**2)) == pytest.approx(float(np.sum(sound**2)), rel=1e-3)


@pytest.mark.parametrize("length", [0, 10, RATE])
def test_silence_has_no_bounds(length: int) -> None:
    silence = np.zeros(length, np.float32)
    assert voice_bounds(silence, RATE) is None
    with pytest.raises(AudioError, match="no sound"):
        trim(Clip(silence, RATE))
