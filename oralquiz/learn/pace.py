"""The pace at which a pupil gets the wanted share of sums right, learned sum by sum.

A grid posterior over the threshold (the pace at which half go right), the slope and the lapses of

    P(right | pace) = (1 - lapse) / (1 + exp(-slope (log pace - log threshold)))

after the adaptive methods of psychophysics (Watson & Pelli 1983; Watson 2017; from memory).
Threshold and lapses drift: a pupil who practises does not stay the same.

What lapses cost is not made good by reading more slowly: a pupil who does not know a rule yet fails
at any pace. So the pace is that at which the pupil keeps up, and it lies in the middle of what is
possible; to wait until a slow pace is proved to be of no use would keep it slow, and nothing would
be learned of the quicker ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

THRESHOLDS = np.linspace(np.log(0.25), np.log(10.0), 40)
"""Logarithms of seconds from the onset of a term to the onset of the next."""
SLOPES = np.array([2.0, 3.0, 4.5, 6.5, 9.0, 13.0])
LAPSES = np.array([0.0, 0.02, 0.06, 0.15, 0.3, 0.5])
SHAPE = (len(THRESHOLDS), len(SLOPES), len(LAPSES))

BEFORE_SD = 0.6
"""Of the logarithm of the threshold before anything is known: a factor of two either way."""
USUAL_LAPSES = 0.3
"""Before anything is known, lapses so much larger are exp(1) times less probable."""
LAPSES_CHANGE = 0.01
"""The probability that the lapses move to a neighbour on the grid with one sum."""
KEEPS_UP = 0.92
"""Of the sums, at most: where lapses keep the target out of reach, nobody is read to more slowly
than this needs."""
TERMS = 4
APART_S = 14.0
"""What a sum costs besides its terms, in seconds: answer, verdict and pause, and some more for the
effort. (With 10, fewer than nine invented pupils in ten got 75 to 95 % right.)"""
_PACES = np.exp(np.linspace(np.log(0.5), np.log(8.0), 40))


@dataclass(frozen=True)
class PaceBelief:
    """What is known of a pupil's pace: the probability of each grid point, SHAPE, sum 1."""

    grid: Floats

    @classmethod
    def before(cls, pace_s: float) -> PaceBelief:
        """Nothing is known; ``pace_s`` is a pace that suits most."""
        near = np.exp(-0.5 * ((THRESHOLDS - np.log(pace_s / 1.6)) / BEFORE_SD) ** 2)
        slopes = np.exp(-0.5 * (np.log(SLOPES / 4.5) / 0.6) ** 2)
        lapses = np.exp(-LAPSES / USUAL_LAPSES)
        return cls(_normal(near[:, None, None] * slopes[:, None] * lapses))

    def after(self, pace_s: float, right: bool) -> PaceBelief:
        """One more sum, dictated at ``pace_s``."""
        chance = _curve(np.array([np.log(pace_s)]))[0]
        return PaceBelief(_normal(self.grid * (chance if right else 1 - chance)))

    def drifted(self, sd: float) -> PaceBelief:
        """The threshold may have changed by a factor of exp(``sd``), and the lapses a little."""
        threshold = np.tensordot(_blur(round(sd, 3)), self.grid, axes=1)
        return PaceBelief(_normal(threshold @ _TO_NEIGHBOURS))

    def chance(self, pace_s: float) -> float:
        """The probability that a sum dictated at ``pace_s`` comes out right."""
        return float((self.grid * _curve(np.array([np.log(pace_s)]))[0]).sum())

    def pace_for(self, target: float) -> float:
        """The pace, in seconds, at which the share ``target`` is expected to go right, or at which
        the pupil keeps up with KEEPS_UP (or ``target``, if that is more): the median of what is
        possible."""
        order, log_paces = _paces(target)
        reached = int(np.searchsorted(np.cumsum(self.grid.ravel()[order]), 0.5))
        return math.exp(log_paces[min(reached, len(log_paces) - 1)])

    def most_right(self) -> float:
        """The pace, in seconds, at which most sums go right in an hour: of TERMS terms each, and
        APART_S more from one to the next. To read more slowly than this does not pay."""
        chances = _curve_of_all() @ self.grid.ravel()
        return float(_PACES[np.argmax(chances / (TERMS * _PACES + APART_S))])


@cache
def _paces(target: float) -> tuple[NDArray[np.intp], Floats]:
    """The order of the grid's points by the pace that each wants, and the logarithms of these."""
    share = np.minimum(target / (1 - LAPSES), max(KEEPS_UP, target))
    paces = THRESHOLDS[:, None, None] + np.log(share / (1 - share)) / SLOPES[:, None]
    order = np.argsort(paces, axis=None, kind="stable")
    return order, paces.ravel()[order]


def _curve(log_paces: Floats) -> Floats:
    """P(right), [paces, *SHAPE]."""
    steps = log_paces[:, None, None, None] - THRESHOLDS[:, None, None]
    chances: Floats = (1 - LAPSES) / (1 + np.exp(-SLOPES[:, None] * steps))
    return np.clip(chances, 1e-3, 1 - 1e-3)  # no single answer rules anything out


@cache
def _curve_of_all() -> Floats:
    return _curve(np.log(_PACES)).reshape(len(_PACES), -1)


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


def _to_neighbours() -> Floats:
    """A random step of the lapses, [before, after]."""
    apart = abs(np.subtract.outer(np.arange(len(LAPSES)), np.arange(len(LAPSES))))
    steps = np.where(apart == 1, 1.0, 0.0)
    steps *= LAPSES_CHANGE / steps.sum(axis=1, keepdims=True)
    return np.asarray(steps + (1 - LAPSES_CHANGE) * np.eye(len(LAPSES)), dtype=np.float64)


_TO_NEIGHBOURS = _to_neighbours()


def _normal(grid: Floats) -> Floats:
    return np.asarray(grid / grid.sum(), dtype=np.float64)
