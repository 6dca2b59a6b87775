"""Keeps the dictation that the microphone hears from being taken for an answer.

What is played is known to the sample, so what the loudspeaker adds to the microphone can be
learned and taken away, and an answer spoken while the dictation still runs is left over. The
canceller is the frequency-domain Kalman filter (Enzner & Vary, Signal Processing 86, 2006), in
partitions (Kuech, Mabande & Enzner, ICASSP 2014): it holds, with the path from loudspeaker to
microphone, how uncertain that path still is. From this follows how loud the echo that is left
may be. A block that is not clearly louder than that is replaced by noise like the room's own: at
first, when nothing is learned yet, that is the whole dictation; later only what it explains.
"""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np
import scipy  # its parts are loaded when they are first used
from numpy.typing import NDArray

from oralquiz.sound import BLOCK, SESSION_RATE, Mixer, Samples

AHEAD = 2
"""Blocks by which an echo may come before its time (40 ms), when the lag was not measured."""

PARTS = 15
"""Blocks of the learned path: 40 ms ahead of its time and 260 ms of room after it."""

KEEP = 0.9995
"""How much of the path is the same a block later; people move."""

PATH_DB = -6.0
"""What the echo path may be before it is learned, in decibels a partition at its time."""

DECAY_DB = 2.5
"""By how much less a partition later: a room of half a second's reverberation."""

LATE_S = 1.2
"""Reverberation time (60 dB) assumed for what comes later than the learned path."""

LEAKS = 250
LEAK_SHARE = 0.8
"""What is left of the echo, re the echo, is taken from the last LEAKS blocks (5 s) with echo: the
share of them that left less. It holds what the filter cannot know (a loudspeaker that distorts),
and answers are too rare to move it."""

MARGIN_DB = 10.0
"""A block louder than the echo that may be left by this much holds something else."""

HOLD = 6
"""Blocks (120 ms) that stay open after such a block, so that words keep their ends."""

ROOM = 250
"""Blocks without echo (5 s) whose quietest moment is the room's noise."""

NOTHING = 0.1
"""An echo weaker than this share of the room's noise does not count."""

RECENT = 16
"""Blocks (320 ms) in which what is left is compared with what was played."""

REACH = 20
"""Blocks (400 ms) by which an echo may come later than it should when a sound card stumbles."""

ALIKE = 0.65
"""Correlation, at the best two lags within REACH, from which what is left is echo that came at
another time than it should. Two voices at once reach 0.6, after pre-emphasis."""

NEAR = 40
"""Lags no more samples apart than this count as one."""

STRANGE = 5
"""Blocks in a row with such echo after which the path is learned anew."""

FADE = 10 ** (-6 * BLOCK / SESSION_RATE / LATE_S)
"""What is left of the echo's power a block later."""

WINDOW = np.sin(np.pi * (np.arange(2 * BLOCK) + 0.5) / (2 * BLOCK))
"""The window of the noise like the room's: blocks overlap by half, and the squares of two
overlapping windows add up to 1."""

Spectra = NDArray[np.complex128]
Powers = NDArray[np.float64]


class EchoCanceller:
    """Takes what was played out of what is heard. One for a session; feed it every block."""

    def __init__(self) -> None:
        self._sounds = Mixer()
        bins = BLOCK + 1
        self._played: Spectra = np.zeros((PARTS, bins), complex)  # newest first
        self._power: Powers = np.zeros((PARTS, bins))  # of the same
        self._sounds_on = 0  # blocks until the last sound played has left them
        self._path: Spectra = np.zeros((PARTS, bins), complex)
        self._unsure = _unlearned()
        self._others: Powers = np.full(bins, 1e-6 * BLOCK)  # power of what is not echo
        self._smooth: Powers | None = None  # power of what is left, over some 0.2 s
        self._quiet: deque[tuple[float, Powers]] = deque(maxlen=ROOM)
        self._quietest: tuple[float, Powers] | None = None  # of those; None: not found
        self._echo = 0.0  # power of the echo, dying away as a room does
        self._leaks: deque[float] = deque([1.0] * (LEAKS // 5), maxlen=LEAKS)
        self._leak = 1.0  # the LEAK_SHARE quantile of those
        self._open = 0
        self._share = 1.0  # of what is left in what is handed on; the rest is the room's noise
        self._strange = 0  # blocks in a row that hold echo at another time
        self._coming = np.zeros(BLOCK)  # the half of the last transform that comes again
        self._said = np.zeros((REACH + RECENT + AHEAD) * BLOCK)
        self._left = np.zeros(RECENT * BLOCK)
        self._random = np.random.default_rng(0)  # the same sound is cleaned to the same sound
        # of the last block: white noise and the room's spectrum; the second half is for the next
        self._noise: tuple[NDArray[np.float64], Powers] | None = None

    def played(self, samples: Samples, at: int) -> None:
        """``samples`` (n,) are, or will be, heard from position ``at`` on."""
        self._sounds.add(samples, at)

    def stopped(self, at: int) -> None:
        """Nothing sounds from position ``at`` on."""
        self._sounds.stop(at)

    def clean(self, start: int, heard: Samples) -> Samples:
        """The BLOCK samples ``heard`` from position ``start`` on without what was played."""
        coming = self._sounding(start + AHEAD * BLOCK)
        self._take_in(coming)
        sounding = self._sounds_on > 0 and bool(self._power.any())
        left = heard.astype(np.float64)
        loudness = 0.0
        if sounding:
            echo = np.fft.irfft((self._played * self._path).sum(axis=0))[BLOCK:]
            left -= echo
            loudness = float(np.mean(echo**2))
        _push(self._said, coming)
        _push(self._left, left)
        error = np.fft.rfft(np.concatenate([np.zeros(BLOCK), left]))
        may_be = self._learn(self._power, error) if sounding else 0.0
        self._echo = max(FADE * self._echo, loudness)
        return self._gate(left, error, may_be)

    def _take_in(self, coming: NDArray[np.float64]) -> None:
        """Move on by one block in the spectra of what is played."""
        silent = not coming.any()
        if not silent:
            self._sounds_on = PARTS + 1  # a block is in two transforms
        if self._sounds_on:
            spectrum = np.fft.rfft(np.concatenate([self._coming, coming]))
            _push(self._played[::-1], spectrum[np.newaxis])
            _push(self._power[::-1], np.abs(spectrum[np.newaxis]) ** 2)
            self._sounds_on -= silent
        self._coming = coming

    def _learn(self, power: Powers, error: Spectra) -> float:
        """One step of the Kalman filter; the power an echo that is left may have, a sample."""
        spread = (power * self._unsure).sum(axis=0)
        # half of every transform is zeros: the error's spectrum holds half the echo's power
        gain = self._unsure / (spread + 2 * self._others + 1e-12)
        step = np.fft.irfft(gain * np.conj(self._played) * error)
        step[:, BLOCK:] = 0  # a path's partition is BLOCK long
        self._path = KEEP * (self._path + np.fft.rfft(step))
        self._unsure = KEEP**2 * (1 - 0.5 * gain * power) * self._unsure
        self._unsure += (1 - KEEP**2) * np.abs(self._path) ** 2
        self._others = 0.7 * self._others + 0.3 * np.abs(error) ** 2
        spread = (power * self._unsure).sum(axis=0) / 2
        return _power(spread)

    def _gate(self, left: NDArray[np.float64], error: Spectra, echo: float) -> Samples:
        """``left``, or noise like the room's if it is no more than the ``echo`` it may hold."""
        spectrum = self._room(error)
        room = _power(spectrum)
        power = float(np.mean(left**2))
        echo = max(echo, self._echo * self._leak)
        if self._echo > 10 * room:
            self._leaks.append(power / self._echo)
            self._leak = float(np.quantile(self._leaks, LEAK_SHARE))
        loud = power > 10 ** (MARGIN_DB / 10) * echo + 2 * room
        if loud and self._displaced():
            self._open = 0
            self._strange += 1
            if self._strange == STRANGE:  # the path is another one now
                self._unsure = np.maximum(self._unsure, _unlearned())
        else:
            self._open = HOLD if loud else max(0, self._open - 1)
            self._strange = 0
        before = self._share
        if echo < NOTHING * room:
            self._share = 1.0
        elif self._open:  # as much of it as is not echo
            self._share = float(np.sqrt(max(0.0, 1 - echo / (power + 1e-20))))
        else:
            self._share = 0.0
        return self._mixed(left, spectrum, before)

    def _mixed(self, left: NDArray[np.float64], room: Powers, before: float) -> Samples:
        """``left`` with noise of the spectrum ``room``; the share of ``left`` was ``before``."""
        noise_before, self._noise = self._noise, (self._random.standard_normal(2 * BLOCK), room)
        if before == self._share == 1.0:
            return left.astype(np.float32)
        noise = _like(*self._noise)[:BLOCK]
        if noise_before is not None:
            noise += _like(*noise_before)[BLOCK:]
        share = np.linspace(before, self._share, BLOCK)
        mixed: Samples = (share * left + np.sqrt(1 - np.square(share)) * noise).astype(np.float32)
        return mixed

    def _displaced(self) -> bool:
        """Whether what is left is what was played, at another time than it should be heard."""
        said, left = np.diff(self._said), np.diff(self._left)
        energy = np.concatenate(([0.0], np.cumsum(said**2)))
        energies = energy[len(left) :] - energy[: -len(left)]
        if energies.max() < 1e-9:
            return False
        match = scipy.signal.correlate(said, left, mode="valid", method="fft")
        # where hardly anything was played, chance would make much of it
        floor = 0.1 * energies.max()
        alike = np.abs(match) / np.sqrt(np.maximum(energies, floor) * (np.sum(left**2) + 1e-12))
        best = int(np.argmax(alike))
        # what was expected and did not come is left as well, at its own lag
        other = max(
            alike[: max(0, best - NEAR)].max(initial=0), alike[best + NEAR :].max(initial=0)
        )
        return bool(np.hypot(alike[best], other) > ALIKE)

    def _room(self, error: Spectra) -> Powers:
        """The room's noise: the quietest of the last five seconds without echo."""
        power = np.abs(error) ** 2
        self._smooth = power if self._smooth is None else 0.9 * self._smooth + 0.1 * power
        if self._quietest is None and self._quiet:
            self._quietest = min(self._quiet, key=lambda one: one[0])
        room = self._quietest or (1.0, power)
        if self._echo < NOTHING * room[0]:
            self._note((_power(self._smooth), self._smooth))
        return room[1]

    def _note(self, quiet: tuple[float, Powers]) -> None:
        """Take one more block without echo; the oldest may drop out."""
        if len(self._quiet) == ROOM and self._quiet[0] is self._quietest:
            self._quietest = None
        elif self._quietest is not None and quiet[0] < self._quietest[0]:
            self._quietest = quiet
        self._quiet.append(quiet)

    def _sounding(self, start: int) -> NDArray[np.float64]:
        """What is played in the BLOCK samples from ``start`` on."""
        mixed = np.zeros(BLOCK)
        self._sounds.mix(mixed, start)
        return mixed


def _push(held: NDArray[Any], new: NDArray[Any]) -> None:
    """Put ``new`` (k, ...) at the end of ``held`` (n, ...); the first k drop out."""
    held[: -len(new)] = held[len(new) :]
    held[-len(new) :] = new


def _like(white: NDArray[np.float64], room: Powers) -> NDArray[np.float64]:
    """The ``white`` noise (2 BLOCK,) with the spectrum ``room``, faded in and out."""
    return WINDOW * np.fft.irfft(np.fft.rfft(white) * np.sqrt(room / BLOCK))


def _unlearned() -> Powers:
    """How unsure the path is when nothing is known of it: (PARTS, bins)."""
    steps = np.abs(np.arange(PARTS) - AHEAD)
    unsure = 10 ** ((PATH_DB - DECAY_DB * steps) / 10)
    return np.tile(unsure[:, np.newaxis], (1, BLOCK + 1))


def _power(spectrum: Powers) -> float:
    """Mean square of a block from the power spectrum of its zero-padded transform."""
    whole = 2 * spectrum.sum() - spectrum[0] - spectrum[-1]
    return float(whole / (2 * BLOCK) / BLOCK)
