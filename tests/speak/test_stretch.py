from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oralquiz.sound.clip import Clip, Samples
from oralquiz.speak.stretch import compress
from tests.speak.sounds import tone

RATE = 16_000


def pitch(samples: Samples) -> float:
    """Hertz, by the peak of the autocorrelation between 60 and 400 Hz."""
    middle = samples[len(samples) // 4 : -len(samples) // 4].astype(np.float64)
    match = np.correlate(middle, middle, mode="full")[len(middle) - 1 :]
    shortest, longest = RATE // 400, RATE // 60
    return RATE / (shortest + int(np.argmax(match[shortest:longest])))


@pytest.mark.parametrize("factor", [1.0, 1.1, 1.25, 1.4])
@pytest.mark.parametrize("hertz", [90.0, 130.0, 220.0, 300.0])
def test_the_length_shrinks_and_the_pitch_stays(factor: float, hertz: float) -> None:
    clip = Clip(tone(0.8, RATE, hertz), RATE)
    short = compress(clip, factor)
    assert len(short.samples) == round(len(clip.samples) / factor)
    assert pitch(short.samples) == pytest.approx(pitch(clip.samples), rel=0.02)
    # as loud as before, and without steps: no sample jumps further than the tone's own
    assert np.std(short.samples) == pytest.approx(float(np.std(clip.samples)), rel=0.05)
    assert np.abs(np.diff(short.samples)).max() <= 1.15 * np.abs(np.diff(clip.samples)).max()


@given(st.floats(1.0, 1.4), st.integers(1, 20_000))
@settings(max_examples=40, deadline=None)
def test_any_clip_starts_with_its_own_first_samples(factor: float, length: int) -> None:
    noise = np.random.default_rng(length).standard_normal(length).astype(np.float32)
    short = compress(Clip(noise, RATE), factor).samples
    assert len(short) == round(length / factor)
    kept = min(len(short), round(0.01 * RATE))
    np.testing.assert_allclose(short[:kept], noise[:kept], atol=1e-6)


def test_lengthening_is_refused() -> None:
    with pytest.raises(ValueError, match="lengthen"):
        compress(Clip(tone(0.5, RATE), RATE), 0.9)
