"""The pace at which a pupil gets the wanted share of sums right, learned sum by sum.

A grid posterior over the threshold (the pace at which half go right), the slope and the lapses of

    P(right | pace) = (1 - lapse) / (1 + exp(-slope (log pace - log threshold)))

after the adaptive methods of psychophysics (Watson & Pelli 1983; Watson 2017; from memory). The
threshold drifts: a pupil who practises does not stay the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

THRESHOLDS = np.linspace(np.log(0.25), np.log(10.0), 40)
"""Logarithms of seconds from the onset of a term to the onset of the next."""
SLOPES = np.array([2.0, 3.0, 4.5, 6.5, 9.0, 13.0])
LAPSES = np.array([0.0, 0.02, 0.05, 0.09, 0.15, 0.25])
SHAPE = (len(THRESHOLDS), len(SLOPES), len(LAPSES))

BEFORE_SD = 0.6
"""Of the logarithm of the threshold before anything is known: a factor of two either way."""
NEAR_THE_TOP = 0.97
"""Where lapses keep the target out of reach: this share of what can be reached."""
_AT = np.linspace(np.log(0.25), np.log(12.0), 120)


@dataclass(frozen=True)
class PaceBelief:
    """What is known of a pupil's pace: the probability of each grid point, SHAPE, sum 1."""

    grid: Floats

    @classmethod
    def before(cls, pace_s: float) -> PaceBelief:
        """Nothing is known; ``pace_s`` is a pace that suits most."""
        near = np.exp(-0.5 * ((THRESHOLDS - np.log(pace_s / 1.6)) / BEFORE_SD) ** 2)
        slopes = np.exp(-0.5 * (np.log(SLOPES / 4.5) / 0.6) ** 2)
        lapses = np.exp(-LAPSES / 0.08)
        return cls(_normal(near[:, None, None] * slopes[:, None] * lapses))

    def after(self, pace_s: float, right: bool) -> PaceBelief:
        """One more sum, dictated at ``pace_s``."""
        chance = _curve(np.array([np.log(pace_s)]))[0]
        return PaceBelief(_normal(self.grid * (chance if right else 1 - chance)))

    def drifted(self, sd: float) -> PaceBelief:
        """The threshold may have changed by a factor of exp(``sd``)."""
        return PaceBelief(_normal(np.tensordot(_blur(round(sd, 3)), self.grid, axes=1)))

    def chance(self, pace_s: float) -> float:
        """The probability that a sum dictated at ``pace_s`` comes out right."""
        return float((self.grid * _curve(np.array([np.log(pace_s)]))[0]).sum())

    def pace_for(self, target: float) -> float:
        """The quickest pace, in seconds, at which the share ``target`` is expected to go right."""
        chances = _curve_of_all() @ self.grid.ravel()
        reached = np.flatnonzero(chances >= min(target, NEAR_THE_TOP * chances[-1]))[0]
        return float(np.exp(_AT[reached]))


def _curve(log_paces: Floats) -> Floats:
    """P(right), [paces, *SHAPE]."""
    steps = log_paces[:, None, None, None] - THRESHOLDS[:, None, None]
    chances: Floats = (1 - LAPSES) / (1 + np.exp(-SLOPES[:, None] * steps))
    return np.clip(chances, 1e-3, 1 - 1e-3)  # no single answer rules anything out


@cache
def _curve_of_all() -> Floats:
    return _curve(_AT).reshape(len(_AT), -1)


@cache
def _blur(sd: float) -> Floats:
    """A random step of the threshold, [after, before]."""
    apart = THRESHOLDS[:, None] - THRESHOLDS[None, :]
    width = THRESHOLDS[1] - THRESHOLDS[0]
    if sd >= width:
        kernel = np.exp(-0.5 * (apart / sd) ** 2)
    else:  # narrower than the grid: the same variance in steps to the neighbours
        share = 0.5 * (sd / width) ** 2
        kernel = np.where(apart == 0, 1 - 2 * share, np.where(abs(apart) < 1.5 * width, share, 0))
    return np.asarray(kernel / kernel.sum(axis=0), dtype=np.float64)


def _normal(grid: Floats) -> Floats:
    return np.asarray(grid / grid.sum(), dtype=np.float64)
