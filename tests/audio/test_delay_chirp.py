from __future__ import annotations

import numpy as np
import pytest

from oralquiz.audio.delay_chirp import LEVEL, chirp, find_again, find_echo
from oralquiz.beads import Sum
from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.speak.dictation import dictate
from oralquiz.speak.voices import open_voice


@pytest.mark.parametrize("at", [0, 1, 1234, 15_999])
@pytest.mark.parametrize(("gain", "noise"), [(1.0, 0.0), (0.1, 1e-3), (0.01, 3e-3)])
def test_a_chirp_is_found_to_the_sample(at: int, gain: float, noise: float) -> None:
    sound = chirp()
    heard = noise * np.random.default_rng(at).standard_normal(2 * SESSION_RATE)
    heard[at : at + len(sound)] += gain * sound
    echo = find_echo(heard.astype(np.float32), sound)
    assert echo is not None
    assert abs(echo.at - at) <= 1
    assert echo.level_db == pytest.approx(20 * np.log10(gain), abs=1.0)


def test_the_first_arrival_counts_not_a_louder_reflection() -> None:
    sound = chirp()
    heard = np.zeros(2 * SESSION_RATE)
    heard[3000 : 3000 + len(sound)] += 0.7 * sound
    heard[3080 : 3080 + len(sound)] += 1.0 * sound  # 5 ms later, as off a wall
    echo = find_echo(heard.astype(np.float32), sound)
    assert echo is not None
    assert abs(echo.at - 3000) <= 2


@pytest.mark.parametrize("seed", range(20))
def test_noise_is_not_a_chirp(seed: int) -> None:
    noise = 0.05 * np.random.default_rng(seed).standard_normal(2 * SESSION_RATE)
    assert find_echo(noise.astype(np.float32), chirp()) is None


def test_silence_and_too_little_are_not_a_chirp() -> None:
    assert find_echo(np.zeros(2 * SESSION_RATE, np.float32), chirp()) is None
    assert find_echo(np.zeros(10, np.float32), chirp()) is None


def test_rising_and_falling_are_told_apart() -> None:
    sound = chirp()
    heard = np.zeros(2 * SESSION_RATE, np.float32)
    heard[1000 : 1000 + len(sound)] = sound
    rising, falling = find_echo(heard, sound), find_echo(heard, sound[::-1].copy())
    assert rising is not None
    assert falling is None or falling.level_db < rising.level_db - 10


@pytest.mark.parametrize("at", [0, 4321, 9600])
@pytest.mark.parametrize(("gain", "noise"), [(1.0, 0.0), (0.2, 2e-3)])
def test_a_voice_is_found_again_to_the_sample(at: int, gain: float, noise: float) -> None:
    voice = dictate(Sum((34, 13)), open_voice(), pace=1.2, sample_rate=SESSION_RATE).samples
    heard = noise * np.random.default_rng(at).standard_normal(len(voice) + 9600)
    heard[at : at + len(voice)] += gain * voice
    assert find_again(heard.astype(np.float32), voice) == at


def test_a_voice_that_is_not_there_is_not_found() -> None:
    voice = dictate(Sum((34, 13)), open_voice(), pace=1.2, sample_rate=SESSION_RATE).samples
    other = dictate(Sum((71, -26)), open_voice(), pace=1.2, sample_rate=SESSION_RATE).samples
    noise = 0.01 * np.random.default_rng(1).standard_normal(len(voice) + 9600)
    assert find_again(noise.astype(np.float32), voice) is None
    silence = np.zeros(4800, np.float32)
    assert find_again(np.concatenate([silence, other, silence, silence]), voice) is None
    assert find_again(np.zeros(10, np.float32), voice) is None


def test_it_is_no_louder_than_a_reading() -> None:
    assert np.abs(chirp()).max() <= LEVEL
