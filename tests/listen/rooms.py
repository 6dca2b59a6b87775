"""Rooms around a recording, for tests of where its voice begins."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
Samples = NDArray[np.float32]


def noise(seconds: float, level_db: float, seed: int = 1) -> Samples:
    """White noise of ``level_db`` re full scale, shape (n,)."""
    rng = np.random.default_rng(seed)
    return rng.normal(0, 10 ** (level_db / 20), round(seconds * RATE)).astype(np.float32)


def its_room(samples: Samples, until_ms: float, seconds: float, seed: int = 1) -> Samples:
    """Noise with the spectrum that ``samples`` have before ``until_ms``, in its quieter half."""
    before = samples[: max(160, round((until_ms - 8) * RATE / 1000))]
    width = 256 if len(before) >= 512 else 128
    shape = np.hanning(width)
    windows = np.lib.stride_tricks.sliding_window_view(before, width)[:: width // 4] * shape
    power = np.abs(np.fft.rfft(windows, axis=1)) ** 2
    energy = power[:, 2:].sum(axis=1)
    mean = power[energy <= np.median(energy)].mean(axis=0) / (shape**2).sum()
    count = round(seconds * RATE)
    hertz = np.fft.rfftfreq(count, 1 / RATE)
    gain = np.interp(hertz, np.fft.rfftfreq(width, 1 / RATE), np.sqrt(mean))
    gain[hertz < 60] = 0
    white = np.fft.rfft(np.random.default_rng(seed).normal(size=count))
    return np.fft.irfft(white * gain, count).astype(np.float32)


def in_its_room(samples: Samples, onset_ms: float, lead_s: float = 1.0, seed: int = 1) -> Samples:
    """``samples`` (n,) after ``lead_s`` of its own room, which continues for half a second
    afterwards."""
    samples = samples - samples.mean()
    fade = np.linspace(1, 0, 160, dtype=np.float32)
    lead = its_room(samples, onset_ms, lead_s + 0.01, seed)
    lead[-160:] *= fade
    clip = samples.copy()
    clip[:160] *= 1 - fade
    clip[:160] += lead[-160:]
    after = its_room(samples, onset_ms, 0.5, seed + 1)
    return np.concatenate([lead[:-160], clip, after])


def peak_db(samples: Samples) -> float:
    """The loudest 20 ms of ``samples``, in decibels re full scale."""
    power = np.convolve(samples**2, np.ones(320) / 320, "valid").max()
    return float(10 * np.log10(power))


def loudest_at(samples: Samples) -> int:
    """The sample in the middle of the loudest 20 ms."""
    return int(np.argmax(np.convolve(samples**2, np.ones(320), "same")))
