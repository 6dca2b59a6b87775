"""The sound of a replay: one voice line out of what was said and heard, small enough to carry.

MP3 is what every browser plays: Safari has no Ogg Vorbis and took Ogg Opus late, FLAC and WAV
are too large for a page a parent gets by mail. Constant bit rate, because browsers find a place
in a stream of variable rate only roughly.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import scipy  # its parts are loaded when they are first used
import soundfile

from oralquiz.replay.timing import Timing
from oralquiz.sound import Pcm, Samples, from_pcm16

# bits a second, best first, and the compression level by which libsndfile picks it at 16 kHz
BIT_RATES = {32_000: 0.85, 24_000: 0.88, 16_000: 0.93, 8_000: 0.97}
FADE_S = 0.02
DELAY = 1105
"""Samples by which an MP3 comes out late: 576 of the encoder (LAME) and 529 of any decoder."""


def mix(audio: Pcm, timing: Timing, rate: int) -> Samples:
    """What the replay plays of one turn: (n,) float32 for its ``first`` .. ``last`` samples.

    While the teacher's voice reads a term, the microphone is faded out: it heard the loudspeaker
    too, and both at once would echo. An answer is never faded.
    """
    clip = from_pcm16(audio[timing.first : timing.last])
    if not len(clip):
        return np.zeros(0, dtype=np.float32)
    open_ = np.ones(len(clip), dtype=np.float32)
    for term in timing.terms:
        open_[round(term.onset * rate) : round(term.offset * rate)] = 0.0
    for answer in timing.answers:
        open_[round(answer.onset * rate) : round(answer.offset * rate)] = 1.0
    smooth = scipy.ndimage.uniform_filter1d(open_, max(1, round(FADE_S * rate)))
    both: Samples = np.clip(clip[:, 0] + clip[:, 1] * smooth, -1.0, 1.0).astype(np.float32)
    return both


def lanes(audio: Pcm, timing: Timing) -> tuple[Samples, Samples]:
    """What was said and what was heard in one turn, each (n,) float32."""
    clip = from_pcm16(audio[timing.first : timing.last])
    return clip[:, 0], clip[:, 1]


def encode(samples: Samples, rate: int, bits_per_s: int, *, early: bool = True) -> bytes:
    """``samples`` at ``rate`` hertz (16,000) as MP3 of constant bit rate (one of BIT_RATES).

    With ``early`` the first DELAY samples are dropped, so that every later one is heard at its own
    time.
    """
    file = io.BytesIO()
    options: dict[str, Any] = {
        "bitrate_mode": "CONSTANT",
        "compression_level": BIT_RATES[bits_per_s],
    }
    kept = samples[DELAY:] if early else samples
    soundfile.write(file, kept, rate, format="MP3", subtype="MPEG_LAYER_III", **options)
    return file.getvalue()


def seconds(mp3: bytes, bits_per_s: int) -> float:
    """How long an MP3 of constant bit rate plays: whole frames only (ISO 13818-3)."""
    return len(mp3) * 8 / bits_per_s


def best_rate(durations: Sequence[float], most_bytes: int) -> int:
    """The best bit rate at which clips of these lengths (seconds) stay under ``most_bytes``."""
    total_s = sum(durations)
    for rate in BIT_RATES:
        if total_s * rate / 8 <= most_bytes:
            return rate
    return min(BIT_RATES)


def outline(samples: Samples, bins: int) -> list[int]:
    """The loudest sample of each of ``bins`` equal stretches, 0 to 99, for a small picture."""
    if len(samples) < bins:
        return [0] * bins
    edges = np.linspace(0, len(samples), bins, endpoint=False).astype(int)
    loud = np.maximum.reduceat(np.abs(samples), edges)
    top = max(0.05, float(loud.max()))  # silence stays small
    return [round(float(99 * value / top)) for value in loud]
