"""The noise of a room: how loud it is, band by band, when nobody speaks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oralquiz.listen.band_levels import BANDS_HZ, HOP_S, LEAST_DB, Levels

MARGIN_DB = 3.0
"""How far above the room's own peaks (99 of 100 windows) a band is active."""
ROOM_S = 3.0
"""Seconds of sound without voice from which the room is known."""
ROOM_EVERY_S = 0.1
"""The room is measured again this often; in between it counts as unchanged."""
EVERY = round(ROOM_EVERY_S / HOP_S)
ROOM_LEAST_DB = LEAST_DB + 6


class RoomNoise:
    """The levels below which a room without voice stays, band by band."""

    def __init__(self, known: Levels | None) -> None:
        bands = len(BANDS_HZ) - 1
        self._ring = np.zeros((bands, round(ROOM_S / HOP_S)), np.float32)
        self._filled = 0
        self._next = 0
        self.known = known is not None
        self._set(np.full(bands, LEAST_DB, np.float32))
        if known is not None:
            recent = known[-self._ring.shape[1] :]
            self._filled = len(recent)
            self._ring[:, : self._filled] = recent.T
            self._next = self._filled % self._ring.shape[1]
            self._set(ceiling_of(self._ring[:, : self._filled]))

    def follow(self, levels: Levels) -> None:
        """Take the next windows without voice."""
        length = self._ring.shape[1]
        places = np.arange(self._next, self._next + len(levels)) % length
        self._ring[:, places] = levels.T
        self._next = (self._next + len(levels)) % length
        self._filled = min(self._filled + len(levels), length)
        self.known = True
        self._set(ceiling_of(self._ring[:, : self._filled]))

    def _set(self, ceiling: Levels) -> None:
        self.ceiling = ceiling  # (bands,)
        self.bar = ceiling + np.float32(MARGIN_DB)


def ceiling_of(levels: Levels) -> Levels:
    """The 99th centile of a room's ``levels``, shape (bands, windows), in each band.

    Robust against some voice among the windows, since it comes from their lower half: the levels
    of noise are log-chi-square with 2..10 degrees of freedom; their 99th centile lies 1.2 to 1.4
    times as far above the median as the 10th lies below.
    """
    tenth, half = levels.shape[1] // 10, levels.shape[1] // 2
    ordered = np.partition(levels, half, axis=1)  # one place at a time costs a fifth of both
    median = ordered[:, half].copy()
    if tenth < half:
        ordered[:, :half].partition(tenth, axis=1)
    ceiling: Levels = np.maximum(median + 1.3 * (median - ordered[:, tenth]), ROOM_LEAST_DB)
    return ceiling


def silent_room() -> Levels:
    """A room that makes no sound: only the voice's own peak tells what is voice."""
    return np.full((1, len(BANDS_HZ) - 1), LEAST_DB, np.float32)


def quietest(levels: Levels) -> Levels:
    """The windows of the quietest fifth of all tenths of a second of a recording: its room, as far
    as that can be known."""
    if len(levels) < EVERY:
        return levels
    return quietest_tenths(levels, powers_of_tenths(levels))


def quietest_tenths(levels: Levels, powers: NDArray[np.floating]) -> Levels:
    """The windows of the quietest fifth, at least one, of the whole tenths of a second in
    ``levels``; ``powers`` are those of the tenths."""
    quiet = powers <= np.sort(powers)[(len(powers) - 1) // 5]
    chosen: Levels = _tenths(levels)[quiet].reshape(-1, levels.shape[1])
    return chosen


def powers_of_tenths(levels: Levels) -> Levels:
    """The mean power of each whole tenth of a second, shape (tenths,)."""
    power: Levels = (10 ** (_tenths(levels) / 10)).mean(axis=(1, 2))
    return power


def _tenths(levels: Levels) -> Levels:
    """``levels`` in whole tenths of a second, shape (tenths, EVERY, bands)."""
    return levels[: len(levels) // EVERY * EVERY].reshape(-1, EVERY, levels.shape[1])
