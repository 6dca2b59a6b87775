"""Sound brought to the level, and into the faint room, of the recordings a model was trained on."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from oralquiz.sound import Samples

AROUND_S = 0.2
"""Seconds of a faint room that are put before and after the sound."""
ROOM_DB = -60.0
LOUD_DB = -15.0
"""The level of that room and of the loudest 20 ms of the voice, in decibels re full scale."""
LEAST_GAIN_DB, MOST_GAIN_DB = -20.0, 30.0
FRAME_S = 0.02


def normalised(samples: Samples, sample_rate: int) -> Samples:
    """``samples`` (n,) at one level, with AROUND_S of a faint room before and after it.

    A clip that is cut to the voice leaves a decoder nothing to begin and end with, and one that is
    quiet or digitally silent sounds like nothing it was trained on.
    """
    around = round(AROUND_S * sample_rate)
    level_db = 10 * np.log10(_loudest_power(samples, round(FRAME_S * sample_rate)) + 1e-12)
    gain_db = min(max(LOUD_DB - level_db, LEAST_GAIN_DB), MOST_GAIN_DB)
    room = _room(len(samples) + 2 * around).copy()
    room[around : around + len(samples)] += samples * 10 ** (gain_db / 20)
    return room.astype(np.float32)


def _loudest_power(samples: Samples, frame: int) -> float:
    """The mean square of the loudest ``frame`` samples in a row; silence beyond the ends."""
    summed = np.zeros(len(samples) + 2 * frame)
    np.cumsum(np.square(samples, dtype=np.float64), out=summed[frame:-frame])
    summed[-frame:] = summed[-frame - 1]
    return float((summed[frame:] - summed[:-frame]).max(initial=0.0)) / frame


def _room(length: int) -> NDArray[np.float64]:
    """White noise of ROOM_DB, shape (length,): always the same, from the first sample on."""
    return _noise(1 << (length - 1).bit_length())[:length]


@lru_cache(maxsize=4)
def _noise(length: int) -> NDArray[np.float64]:
    return np.random.default_rng(0).normal(0, 10 ** (ROOM_DB / 20), length)
