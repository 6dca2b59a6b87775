"""Log-mel features that equal Kaldi's MFCC front end, in batched PyTorch.

Kaldi computes 40 cepstra out of 40 mel bands, which loses nothing, so training works on the log-mel
bands and the exported network undoes the cosine transform in its first, fixed layer.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import torch

SAMPLE_RATE = 16_000
FRAME_LENGTH = 400  # samples, 25 ms
FRAME_SHIFT = 160  # samples, 10 ms
FFT_SIZE = 512
NUM_BINS = FFT_SIZE // 2 + 1
NUM_MEL = 40
LOW_HZ = 40.0
HIGH_HZ = 7800.0
PREEMPHASIS = 0.97
CEPSTRAL_LIFTER = 22.0
#: Kaldi's floor for a mel energy: the float32 epsilon
ENERGY_FLOOR = float(np.finfo(np.float32).eps)


def mel(hertz: np.ndarray | float) -> np.ndarray:
    return 1127.0 * np.log1p(np.asarray(hertz, dtype=np.float64) / 700.0)


@cache
def mel_filters() -> np.ndarray:
    """Triangles in the mel domain, shape (NUM_BINS, NUM_MEL), float32."""
    low, high = mel(LOW_HZ), mel(HIGH_HZ)
    step = (high - low) / (NUM_MEL + 1)
    bins = mel(np.arange(NUM_BINS) * SAMPLE_RATE / FFT_SIZE)
    filters = np.zeros((NUM_BINS, NUM_MEL))
    for band in range(NUM_MEL):
        left = low + band * step
        filters[:, band] = np.clip(
            np.minimum((bins - left) / step, (left + 2 * step - bins) / step), 0.0, None
        )
    filters[-1] = 0.0  # Kaldi leaves the bin at half the sampling rate out
    return filters.astype(np.float32)


@cache
def povey_window() -> np.ndarray:
    n = np.arange(FRAME_LENGTH)
    hann = 0.5 - 0.5 * np.cos(2 * math.pi * n / (FRAME_LENGTH - 1))
    return (hann**0.85).astype(np.float32)


@cache
def cosine_transform() -> np.ndarray:
    """Liftered DCT, shape (NUM_MEL cepstra, NUM_MEL bands): cepstra = C @ log-mel."""
    k = np.arange(NUM_MEL)[:, None]
    n = np.arange(NUM_MEL)[None, :]
    dct = math.sqrt(2.0 / NUM_MEL) * np.cos(math.pi / NUM_MEL * (n + 0.5) * k)
    dct[0] = math.sqrt(1.0 / NUM_MEL)
    lifter = 1.0 + 0.5 * CEPSTRAL_LIFTER * np.sin(math.pi * np.arange(NUM_MEL) / CEPSTRAL_LIFTER)
    return lifter[:, None] * dct


def power_spectrum(frames: torch.Tensor) -> torch.Tensor:
    """Power of frames (..., FRAME_LENGTH) of samples scaled like 16-bit integers."""
    frames = frames - frames.mean(dim=-1, keepdim=True)
    first = frames[..., :1] * (1 - PREEMPHASIS)
    frames = torch.cat([first, frames[..., 1:] - PREEMPHASIS * frames[..., :-1]], dim=-1)
    return torch.fft.rfft(frames * _window(frames.device), n=FFT_SIZE).abs().square()


@cache
def _window(device: torch.device) -> torch.Tensor:
    return torch.as_tensor(povey_window(), device=device)


def log_mel(power: torch.Tensor) -> torch.Tensor:
    filters = torch.as_tensor(mel_filters(), device=power.device)
    return (power @ filters).clamp_min(ENERGY_FLOOR).log()


def log_mel_of_wave(samples: np.ndarray) -> torch.Tensor:
    """(frames, NUM_MEL) of a float32 wave in [-1, 1] at SAMPLE_RATE, framed as Kaldi does."""
    wave = torch.as_tensor(np.round(samples * 32768.0).clip(-32768, 32767).astype(np.float32))
    if len(wave) < FRAME_LENGTH:
        wave = torch.nn.functional.pad(wave, (0, FRAME_LENGTH - len(wave)))
    return log_mel(power_spectrum(wave.unfold(0, FRAME_LENGTH, FRAME_SHIFT)))
