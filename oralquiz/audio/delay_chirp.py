"""A chirp that a microphone can find again: how long sound takes from loudspeaker to microphone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are first used

from oralquiz.sound import SESSION_RATE, Samples

CHIRP_S = 0.4
LOWEST_HZ, HIGHEST_HZ = 300.0, 7000.0
"""What a small loudspeaker still plays, and what the session's rate can hold."""

LEVEL = 0.25
"""Peak of the chirp: -12 dB re full scale, about as loud as the dictation."""

CLEAR = 12.0
"""A chirp was heard when the best match stands out from the typical one by this factor. Noise
alone reaches about 5 among the ten thousand or so places of a search."""


ALIKE = 0.15
"""Share of the height of a perfect match that a voice found again must reach."""


@dataclass(frozen=True)
class Echo:
    """A sound that came back: ``at`` the sample of the recording where it starts, ``level_db`` re
    what was played, ``clarity`` the best match over the typical one."""

    at: int
    level_db: float
    clarity: float


def chirp() -> Samples:
    """A sweep from low to high at SESSION_RATE, faded at both ends, (n,) float32."""
    t = np.arange(round(CHIRP_S * SESSION_RATE)) / SESSION_RATE
    sweep = scipy.signal.chirp(t, LOWEST_HZ, CHIRP_S, HIGHEST_HZ, method="logarithmic")
    faded: Samples = (LEVEL * sweep * scipy.signal.windows.tukey(len(t), 0.1)).astype(np.float32)
    return faded


def find_echo(heard: Samples, played: Samples) -> Echo | None:
    """Where ``played`` comes back in the recording ``heard``.

    The first arrival counts, not a louder reflection up to 10 ms after it. None if it is not found.
    """
    if len(heard) < len(played):
        return None
    match = scipy.signal.correlate(heard, played, mode="valid", method="fft")
    envelope = np.abs(scipy.signal.hilbert(match))
    best = int(np.argmax(envelope))
    clarity = float(envelope[best] / (np.median(envelope) + 1e-12))
    if clarity < CLEAR or envelope[best] < 1e-6:
        return None
    early = max(0, best - SESSION_RATE // 100)
    first = early + int(np.argmax(envelope[early : best + 1] >= 0.5 * envelope[best]))
    # climb from the slope to the top of that first arrival
    while first < best and envelope[first + 1] > envelope[first]:
        first += 1
    energy = float(np.sum(played.astype(np.float64) ** 2))
    return Echo(first, 20 * float(np.log10(envelope[best] / energy)), clarity)


def find_again(heard: Samples, played: Samples) -> int | None:
    """The sample of ``heard`` at which ``played``, any sound of a second or more, comes back.

    By generalised cross-correlation with phase transform (Knapp & Carter 1976), which makes one
    sharp peak of a voice too. None when no peak stands out.
    """
    if len(heard) < len(played):
        return None
    size = scipy.fft.next_fast_len(len(heard) + len(played), real=True)
    known = scipy.fft.rfft(played.astype(np.float64), size)
    cross = scipy.fft.rfft(heard.astype(np.float64), size) * np.conj(known)
    power = np.abs(known) ** 2
    told = power > 1e-4 * power.max()  # elsewhere the phase is that of the noise
    ideal = float(np.sum(told)) * 2 / size
    flat = np.where(told, cross / (np.abs(cross) + 1e-20), 0)
    match = np.abs(scipy.fft.irfft(flat, size)[: len(heard) - len(played) + 1])
    best = int(np.argmax(match))
    clear = match[best] > max(CLEAR * float(np.median(match)), ALIKE * ideal)
    return best if clear else None
