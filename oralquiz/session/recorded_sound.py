"""The sound of a session file: FLAC with two channels, whole, cut off or damaged."""

from __future__ import annotations

import io

import numpy as np
import soundfile

from oralquiz.sound import Pcm

_EARLY = "audio.flac ends early"


def read_sound(raw: bytes, rate: int, most: int) -> tuple[Pcm, str]:
    """The sound of ``raw``, (n, 2) at ``rate``, up to where it was cut and no more than ``most``
    samples of it (4 bytes each in memory); and in words what of it could not be read."""
    if not raw.startswith(b"fLaC"):
        return np.zeros((0, 2), dtype=np.int16), "audio.flac is missing or not FLAC"
    sound, damage = _decoded(raw, rate, most, most)
    if damage == _EARLY:  # again, with small steps at the end: to get all that is before the damage
        sound, damage = _decoded(raw, rate, most, len(sound))
    return sound, damage


def _decoded(raw: bytes, rate: int, most: int, sure: int) -> tuple[Pcm, str]:
    """The sound; its first ``sure`` samples are read in large steps, the rest in small ones."""
    found: Pcm = np.zeros((0, 2), dtype=np.int16)
    count = 0
    try:
        with soundfile.SoundFile(io.BytesIO(raw)) as sound:
            if sound.channels != 2:
                return found, f"audio.flac has {sound.channels} channels, not 2"
            if sound.samplerate != rate:
                return found, f"audio.flac has {sound.samplerate} samples a second, not {rate}"
            open_ended = not 0 < sound.frames < 2**40  # the stream was never closed
            frames = most if open_ended else min(most, sound.frames)
            found = np.empty((frames, 2), dtype=np.int16)
            while count < len(found):
                step = min(16_384, sure - count) if count < sure else 64
                chunk = sound.read(min(step, len(found) - count), dtype="int16")
                found[count : count + len(chunk)] = chunk
                count += len(chunk)
                if len(chunk) == 0:
                    break
            longer = not open_ended and sound.frames > most
            if count < frames and not open_ended:
                return found[:count].copy(), _EARLY
    except soundfile.LibsndfileError:
        return found[:count].copy(), _EARLY
    whole = found if count == len(found) else found[:count].copy()
    return whole, "audio.flac goes on after the round" if longer else ""
