"""Words put together from two voices: time, pitch and joint are as asked for."""

import numpy as np
import pytest
from synthesise import splice

RATE = 16_000


def hum(pitch: float, seconds: float) -> np.ndarray:
    t = np.arange(int(seconds * RATE)) / RATE
    wave = sum(np.sin(2 * np.pi * pitch * k * t) / k for k in range(1, 6))
    return (0.2 * np.asarray(wave)).astype(np.float32)


def pitch_of(wave: np.ndarray) -> float:
    together = np.correlate(wave, wave, "full")[len(wave) - 1 :]
    first, last = RATE // 400, RATE // 80
    return RATE / (first + int(np.argmax(together[first:last])))


@pytest.mark.parametrize("factor", [0.55, 0.8])
def test_a_stem_is_shortened_at_its_own_pitch(factor: float) -> None:
    before = hum(150.0, 0.5)
    after = splice.shortened(before, factor)
    assert len(after) == int(len(before) * factor)
    middle = after[len(after) // 4 : 3 * len(after) // 4]
    assert pitch_of(middle) == pytest.approx(150.0, rel=0.03)


@pytest.mark.filterwarnings("ignore:pkg_resources is deprecated")  # pyworld's own import
def test_an_ending_comes_to_the_pitch_of_its_stem() -> None:
    rng = np.random.default_rng(1)
    first = splice.Piece("a", hum(220.0, 0.4), 220.0)
    second = splice.Piece("b", hum(120.0, 0.4), 120.0)
    word = splice.joined(first, second, rng)
    assert 0.4 * RATE < len(word) < 0.8 * RATE
    end = word[-int(0.3 * RATE) : -int(0.05 * RATE)]
    assert 0.83 * 220 < pitch_of(end) < 1.08 * 220


def test_the_voice_of_eight_ends_before_its_t() -> None:
    vowel, closure = hum(150.0, 0.3), np.zeros(int(0.08 * RATE), np.float32)
    burst = 0.01 * np.random.default_rng(1).normal(size=int(0.05 * RATE)).astype(np.float32)
    end = splice._vowel_end(np.concatenate([vowel, closure, burst]))
    assert end == pytest.approx(len(vowel), abs=320)
