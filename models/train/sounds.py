"""Sounds that are not speech, made from parameters: coughs, laughter, hums, whistles, tunes,
knocks.

Training hears them as other speech, so that a cough is not a "one". They are drawn, not recorded,
so there can be any number of them and nothing needs a licence.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import units
from corpus import Clip
from features import SAMPLE_RATE as RATE

Wave = np.ndarray


def _shape(seconds: float, attack_s: float, decay_s: float) -> Wave:
    t = np.arange(int(seconds * RATE)) / RATE
    return np.minimum(1.0, t / attack_s) * np.exp(-np.maximum(0.0, t - attack_s) / decay_s)


def _filtered(source: Wave, gain: Callable[[Wave], Wave]) -> Wave:
    """``source`` with each of its frequencies, in hertz, times ``gain`` of them."""
    size = 2 * len(source)
    hertz = np.fft.rfftfreq(size, 1 / RATE)
    return np.fft.irfft(np.fft.rfft(source, size) * gain(hertz), size)[: len(source)]


def _resonant(source: Wave, hertz: list[float], sharp: float) -> Wave:
    """``source`` through resonators side by side, each weaker than the one before."""

    def gain(at: Wave) -> Wave:
        out = np.zeros(len(at), complex)
        for k, centre in enumerate(hertz):
            ratio = at / min(centre, 7500.0)
            # a damped mass on a spring, driven, at its velocity
            out += 0.7**k * (1j * ratio / sharp) / (1 - ratio**2 + 1j * ratio / sharp)
        return out

    return _filtered(source, gain)


def _pulses(pitch: Wave, rng: np.random.Generator) -> Wave:
    """A voice's source at ``pitch`` (n,) hertz: a pulse a period, with some breath."""
    phase = np.cumsum(pitch / RATE)
    pulse = np.diff(np.floor(phase), prepend=0.0)
    tilted = _filtered(pulse, lambda hertz: 1 / (1 + 1j * hertz / 130))  # 6 dB an octave
    tilted *= 0.3 / max(1e-9, float(tilted.std()))
    return tilted - tilted.mean() + rng.normal(0, 0.02, len(pitch))


def _throat(rng: np.random.Generator) -> list[float]:
    long = rng.uniform(0.85, 1.5)  # the longer the throat, the lower; a child's is short
    return [long * f for f in (rng.uniform(350, 850), rng.uniform(1000, 1900), 2600.0, 3600.0)]


def cough(rng: np.random.Generator) -> Wave:
    parts = []
    for _ in range(rng.integers(1, 4)):
        seconds = rng.uniform(0.15, 0.4)
        burst = rng.normal(size=int(seconds * RATE)) * _shape(
            seconds, rng.uniform(0.003, 0.03), rng.uniform(0.04, 0.12)
        )
        voiced = _pulses(np.full(len(burst), rng.uniform(110, 400)), rng)
        voiced *= _shape(seconds, 0.05, 0.08) * rng.uniform(0, 2)
        parts += [_resonant(burst + voiced, _throat(rng), rng.uniform(3, 8))]
        parts += [np.zeros(int(rng.uniform(0.02, 0.25) * RATE))]
    return np.concatenate(parts)


def laughter(rng: np.random.Generator) -> Wave:
    throat, pitch, parts = _throat(rng), rng.uniform(150, 500), []
    beat = rng.uniform(0.12, 0.26)
    for _ in range(rng.integers(2, 8)):
        seconds = beat * rng.uniform(0.8, 1.2)
        count = int(seconds * RATE)
        voiced = _pulses(np.linspace(pitch * 1.1, pitch * 0.85, count), rng)
        voiced *= _shape(seconds, 0.02, seconds / 3)
        breath = rng.normal(0, rng.uniform(0.05, 0.4), count) * _shape(seconds, 0.01, 0.05)
        parts.append(_resonant(voiced + breath, throat, rng.uniform(4, 9)))
        pitch *= rng.uniform(0.85, 1.03)
    return np.concatenate(parts)


def hum(rng: np.random.Generator) -> Wave:
    """A held or gliding voice: "mmm", "aaah", a child singing."""
    seconds = rng.uniform(0.25, 1.2)
    count = int(seconds * RATE)
    glide = np.interp(np.linspace(0, 3, count), range(4), rng.uniform(0.8, 1.3, 4))
    voiced = _pulses(rng.uniform(120, 450) * glide, rng)
    return _resonant(voiced, _throat(rng)[: rng.integers(1, 5)], rng.uniform(3, 10)) * np.hanning(
        count
    )


def whistle(rng: np.random.Generator) -> Wave:
    seconds = rng.uniform(0.15, 0.9)
    count = int(seconds * RATE)
    glide = np.interp(np.linspace(0, 3, count), range(4), rng.uniform(0.7, 1.4, 4))
    tone = np.sin(2 * np.pi * np.cumsum(rng.uniform(700, 3000) * glide) / RATE)
    return tone * np.hanning(count) + rng.normal(0, 0.02, count)


def tune(rng: np.random.Generator) -> Wave:
    """A few notes of something plucked, struck or blown, alone or in chords."""
    base, parts = rng.uniform(100, 700), []
    tilt, beat = rng.uniform(0.3, 0.9), rng.uniform(0.08, 0.4)
    decay, rise = rng.choice([0.1, 0.3, 2.0]), rng.uniform(0.003, 0.05)
    for _ in range(rng.integers(1, 8)):
        t = np.arange(int(beat * RATE)) / RATE
        note = np.zeros(len(t))
        for step in rng.integers(0, 13, rng.integers(1, 4)):
            pitch = base * 2 ** (step / 12)
            for k in range(1, 9):
                if k * pitch < 7500:
                    note += tilt**k * np.sin(2 * np.pi * k * pitch * t + rng.uniform(0, 6))
        parts.append(note * _shape(beat, rise, decay)[: len(t)])
    return np.concatenate(parts)


def knock(rng: np.random.Generator) -> Wave:
    """Something struck or dropped: claps, a chair, a pencil."""
    parts = []
    for _ in range(rng.integers(1, 5)):
        seconds = rng.uniform(0.06, 0.3)
        burst = rng.normal(size=int(seconds * RATE)) * _shape(
            seconds, 0.001, rng.uniform(0.004, 0.05)
        )
        rings = list(rng.uniform(200, 5000, rng.integers(1, 5)))
        parts.append(_resonant(burst, rings, rng.uniform(2, 30)))
        parts.append(np.zeros(int(rng.uniform(0.01, 0.3) * RATE)))
    return np.concatenate(parts)


def rub(rng: np.random.Generator) -> Wave:
    """Breath, cloth, paper, a chair pushed: noise that swells and falls."""
    seconds = rng.uniform(0.15, 1.0)
    count = int(seconds * RATE)
    low = rng.uniform(150, 3500)
    high = min(low * rng.uniform(1.5, 6), 7800)
    swell = np.interp(np.linspace(0, 6, count), range(7), [0, *rng.uniform(0.1, 1, 5), 0])

    def gain(hertz: Wave) -> Wave:
        return 1 / (1 + (low / (hertz + 1)) ** 4 + (hertz / high) ** 4)

    return _filtered(rng.normal(size=count), gain) * swell


KINDS: tuple[Callable[[np.random.Generator], Wave], ...] = (
    cough, laughter, hum, whistle, tune, knock, rub,
)  # fmt: skip


def clips(count: int, seed: int) -> tuple[list[Clip], list[np.ndarray]]:
    """``count`` sounds, the same number of each kind, as int16 waves at full scale."""
    rng = np.random.default_rng(seed)
    found, waves = [], []
    for i in range(count):
        kind = KINDS[i % len(KINDS)]
        wave = kind(rng)
        wave = wave / max(1e-9, float(np.abs(wave).max())) * 29_000
        name = kind.__name__
        found.append(Clip("", (units.UNK,), f"made-{name}", "made", "sound", "train"))
        waves.append(np.round(wave).astype(np.int16))
    return found, waves
