"""Small sounds and a voice without an engine, which the tests share."""

from __future__ import annotations

import numpy as np
from scipy.signal import correlate

from oralquiz.sound.clip import Clip, Samples
from oralquiz.speak.dictation import Dictation


def tone(seconds: float, sample_rate: int, hertz: float = 220.0) -> Samples:
    """A tone with a few harmonics, as a vowel has."""
    t = np.arange(round(seconds * sample_rate)) / sample_rate
    sound = sum(np.sin(2 * np.pi * hertz * k * t) / k for k in range(1, 6))
    return np.asarray(0.2 * sound, np.float32)


class FakeVoice:
    """Says each phrase as a noise of its own, 50 ms a letter."""

    def __init__(self, sample_rate: int = 22_050) -> None:
        self._sample_rate = sample_rate

    @property
    def name(self) -> str:
        return "fake:noise"

    @property
    def sample_rate(self) -> int:
        return self._sample_rate

    def say(self, text: str) -> Clip:
        rng = np.random.default_rng(list(text.encode()))
        noise = rng.standard_normal(round(0.05 * len(text) * self._sample_rate))
        return Clip((0.1 * noise).astype(np.float32), self._sample_rate)


def found_onsets(dictation: Dictation) -> list[int]:
    """Where in the whole dictation each term's sound is found again: the place most like it.

    Normalised cross-correlation, 1 where the sound is the same but for its loudness.
    """
    whole = dictation.samples.astype(np.float64)
    energy = np.concatenate(([0.0], np.cumsum(whole**2)))
    onsets = []
    for term in dictation.terms:
        clip = whole[term.onset : term.offset]
        match = correlate(whole, clip, mode="valid", method="fft")
        local = energy[len(clip) :] - energy[: -len(clip)]
        floor = 1e-3 * float(np.sum(clip**2))
        onsets.append(int(np.argmax(match / np.sqrt(np.maximum(local, floor)))))
    return onsets
