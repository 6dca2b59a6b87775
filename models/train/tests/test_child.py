"""An adult's clip as a child's: the pitch and the formants are those that were asked for."""

from itertools import pairwise

import numpy as np
import pytest
from corpus import Clip
from synthesise import child

RATE = 16_000


def vowel(pitch: float, formant: float) -> np.ndarray:
    """A second of pulses at ``pitch`` hertz through one resonance."""
    pulses = np.zeros(RATE)
    pulses[(np.arange(0, RATE, RATE / pitch)).astype(int)] = 1.0
    hertz = np.fft.rfftfreq(2 * RATE, 1 / RATE)
    ratio = hertz / formant
    gain = 1 / (1 - ratio**2 + 1j * ratio / 8 + 1e-9)
    return np.fft.irfft(np.fft.rfft(pulses, 2 * RATE) * gain)[:RATE] * 0.1


def pitch_of(wave: np.ndarray) -> float:
    middle = wave[RATE // 4 : 3 * RATE // 4]
    spectrum = np.abs(np.fft.rfft(middle, 4 * len(middle))) ** 2
    together = np.fft.irfft(spectrum)
    first, last = RATE // 500, RATE // 80
    return RATE / (first + int(np.argmax(together[first:last])))


def loudest(wave: np.ndarray) -> float:
    """Hertz of the centre of the spectrum's loudest fifth of an octave."""
    power = np.abs(np.fft.rfft(wave * np.hanning(len(wave)))) ** 2
    hertz = np.fft.rfftfreq(len(wave), 1 / RATE)
    edges = 200 * 2 ** (np.arange(26) / 5)
    bands = [power[(hertz >= a) & (hertz < b)].sum() for a, b in pairwise(edges)]
    return float(edges[int(np.argmax(bands))] * 2**0.1)


@pytest.mark.filterwarnings("ignore:pkg_resources is deprecated")  # pyworld's own import
@pytest.mark.parametrize("careful", [False, True])
def test_pitch_and_formants_rise_apart(careful: bool) -> None:
    before = vowel(120.0, 900.0)
    after = child.as_child(before, formants=1.35, pitch=1.6, careful=careful)
    assert pitch_of(after) == pytest.approx(1.6 * pitch_of(before), rel=0.03)
    assert 1.15 < loudest(after) / loudest(before) < 1.6


def test_voices_kept_for_development_are_left_alone() -> None:
    def clip(speaker: str, split: str) -> Clip:
        return Clip("", ("one",), speaker, "kokoro", "number", split)

    clips = [clip(f"voice {i}", "dev" if i % 2 else "train") for i in range(40)]
    clips += [clip("fsdd-theo", "train")] * 40
    picked = list(child.chosen(clips, 20, np.random.default_rng(1)))
    assert len(picked) == 20
    assert all(c.split == "train" for c in picked)
    assert sum(c.speaker == "fsdd-theo" for c in picked) == 13
