"""Recordings on disk as the recogniser wants them: one channel, one rate, finite samples."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from oralquiz.errors import BadInput
from oralquiz.sound.clip import Samples

LONGEST_S = 120
"""Seconds of one recording that are heard, at most; an answer lasts two."""


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
    try:
        with soundfile.SoundFile(path) as file:
            rate = file.samplerate
            if file.frames == 0:
                raise BadInput("holds no sound: 0 samples")
            if file.frames > LONGEST_S * rate:
                raise BadInput(f"lasts {file.frames / rate:.0f} s; at most {LONGEST_S} s are heard")
            channels = file.read(dtype="float32", always_2d=True)
    except (soundfile.SoundFileError, RuntimeError, OSError) as error:
        raise BadInput(f"cannot be read as sound: {_one_line(error)}") from error
    if len(channels) == 0:
        raise BadInput("cannot be read as sound: cut off before its first sample")
    if not np.isfinite(channels).all():
        raise BadInput("holds samples that are no numbers")
    loudest = int(np.argmax(np.einsum("nc,nc->c", channels, channels)))
    samples = channels[:, loudest]
    if not samples.any():
        raise BadInput("silent: every sample is zero")
    return resampled(np.ascontiguousarray(samples), rate, sample_rate)


def resampled(samples: Samples, rate: int, wanted: int) -> Samples:
    """``samples`` (n,) at ``rate`` hertz, band-limited, at ``wanted`` hertz."""
    if rate == wanted:
        return samples
    import soxr  # a second of import that most recordings and every live stream do without

    out: Samples = soxr.resample(samples, rate, wanted).astype(np.float32)
    return out


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split())
    return text.rsplit(": ", 1)[-1].rstrip(".")
