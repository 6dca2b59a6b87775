"""Sound brought to a fixed level in a faint room, against numpy's own convolution."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oralquiz.listen.level import normalised
from tests.listen.rooms import RATE, Samples, noise, peak_db

AROUND = RATE // 5


@pytest.mark.parametrize("level_db", [-45.0, -30.0, -15.0, 0.0])
def test_the_loudest_20_ms_come_to_the_same_level(level_db: float) -> None:
    sound = noise(1, -100)
    sound[4000:9000] += noise(5000 / RATE, level_db, seed=2)
    assert peak_db(normalised(sound, RATE)) == pytest.approx(-15, abs=0.1)


def test_what_is_very_weak_is_raised_by_30_db_at_most() -> None:
    assert peak_db(normalised(noise(1, -60), RATE)) == pytest.approx(-30, abs=1.5)


def test_a_faint_room_is_put_around_it_and_under_it() -> None:
    silent = normalised(np.zeros(RATE, np.float32), RATE)
    assert len(silent) == RATE + 2 * AROUND
    assert 10 * np.log10((silent**2).mean()) == pytest.approx(-60, abs=0.2)
    assert np.array_equal(normalised(np.zeros(0, np.float32), RATE), silent[: 2 * AROUND])


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2000), st.integers(0, 10**6))
def test_level_and_room_as_a_plain_computation_has_them(length: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    sound = (rng.normal(0, 0.1, length) * rng.random(length)).astype(np.float32)
    assert np.allclose(normalised(sound, RATE), plainly(sound), atol=1e-6)


def plainly(sound: Samples) -> Samples:
    """The same by convolution, with a room drawn for the purpose."""
    power = np.convolve(sound**2, np.ones(320) / 320, "same") if len(sound) else np.zeros(1)
    gain_db = np.clip(-15 - 10 * np.log10(power.max() + 1e-12), -20, 30)
    room = np.random.default_rng(0).normal(0, 10**-3, len(sound) + 2 * AROUND)
    room[AROUND : AROUND + len(sound)] += sound * 10 ** (gain_db / 20)
    return room.astype(np.float32)
