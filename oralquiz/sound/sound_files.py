"""Sound files: read as clips or as recordings to be heard, written as WAV or FLAC."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from oralquiz.errors import BadInput
from oralquiz.sound.clip import Clip, Samples
from oralquiz.sound.pcm import Pcm, to_pcm16
from oralquiz.sound.resampling import resample

LONGEST_S = 120
"""Seconds of one recording that are heard, at most; an answer lasts two."""

LOWEST_RATE, HIGHEST_RATE = 1_000, 1_000_000
"""Hertz. A damaged header names any rate; no recording has one beyond these."""

LOUDEST = 10.0
"""20 dB over full scale. A file of floats may pass full scale a little where its maker did not
limit it; a sample beyond this is not sound, and its power need not be a finite number."""


_UNREADABLE = (
    soundfile.SoundFileError,
    OSError,
    RuntimeError,
    MemoryError,
    TypeError,  # a file without a head, which wants to be told its format
    ValueError,
)
"""What the library raises, by the way in which a file is damaged."""


def read_recording(path: Path, sample_rate: int) -> Samples:
    """The recording in ``path`` (WAV, FLAC or whatever else libsndfile reads), shape (n,).

    Of several channels the loudest is taken: a sum can cancel, and an idle channel only adds its
    noise. Raises BadInput, in one line without the file's name, when there is nothing to hear.
    """
    if not path.exists():
        raise BadInput("no such file")
    if path.is_dir():
        raise BadInput("a folder, not a recording")
    if path.stat().st_size == 0:
        raise BadInput("empty file")
    channels, rate = _read(path, LONGEST_S)
    loudest = int(np.argmax(np.einsum("nc,nc->c", channels, channels)))
    samples = channels[:, loudest]
    if not samples.any():
        raise BadInput("silent: every sample is zero")
    return resample(np.ascontiguousarray(samples), rate, sample_rate)


def read_clip(source: Path | bytes) -> Clip:
    """The sound in a file, or in its bytes, at its own rate; several channels are averaged.

    Raises BadInput, in one line without the file's name, when it cannot be read.
    """
    channels, rate = _read(source if isinstance(source, Path) else io.BytesIO(source))
    return Clip(np.ascontiguousarray(channels.mean(axis=1), dtype=np.float32), rate)


def wav_bytes(samples: Samples | Pcm, sample_rate: int) -> bytes:
    """``samples`` (n,), floats or 16-bit steps, as a WAV file of 16 bits."""
    return _written(samples, sample_rate, "WAV")


def flac_bytes(samples: Samples | Pcm, sample_rate: int) -> bytes:
    """``samples`` (n,), floats or 16-bit steps, as a FLAC file of 16 bits."""
    return _written(samples, sample_rate, "FLAC")


def _read(source: Path | io.BytesIO, longest_s: float | None = None) -> tuple[Samples, int]:
    """The samples (n, channels), all of them sound, and their rate. Raises BadInput."""
    try:
        with soundfile.SoundFile(source) as file:
            rate = int(file.samplerate)
            if file.frames <= 0:
                raise BadInput("holds no sound: 0 samples")
            if not LOWEST_RATE <= rate <= HIGHEST_RATE:
                raise BadInput(f"cannot be read as sound: {rate} samples a second")
            if longest_s is not None and file.frames > longest_s * rate:
                raise BadInput(f"lasts {file.frames / rate:.0f} s; at most {longest_s} s are heard")
            # told how many, it also reads kinds of files in which it cannot seek
            channels: NDArray[np.float32] = file.read(file.frames, "float32", always_2d=True)
    except _UNREADABLE as error:
        raise BadInput(f"cannot be read as sound: {_one_line(error)}") from error
    if len(channels) == 0:
        raise BadInput("cannot be read as sound: cut off before its first sample")
    if not np.isfinite(channels).all():
        raise BadInput("holds samples that are not numbers")
    if (peak := float(np.abs(channels).max())) > LOUDEST:
        raise BadInput(f"holds samples of {peak:.3g}, where full scale is 1")
    return channels, rate


def _written(samples: Samples | Pcm, sample_rate: int, kind: Literal["WAV", "FLAC"]) -> bytes:
    steps = samples if samples.dtype == np.int16 else to_pcm16(samples)  # type: ignore[arg-type]
    out = io.BytesIO()
    soundfile.write(out, steps, sample_rate, "PCM_16", format=kind)
    return out.getvalue()


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split())
    return text.rsplit(": ", 1)[-1].rstrip(".")
