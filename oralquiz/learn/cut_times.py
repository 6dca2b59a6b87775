"""Times of which some were cut short: a pupil who said nothing by the deadline took longer.

To drop them would make the pupil seem quick. They enter by the product-limit estimate (Kaplan &
Meier 1958), which knows of each only that it is longer than its deadline.
"""

from __future__ import annotations

import math

import numpy as np
import scipy
from numpy.typing import NDArray

Times = NDArray[np.float64]
ROUNDING = 1e-9


def quantiles(timed: Times, cut: Times, shares: tuple[float, ...]) -> tuple[float | None, ...]:
    """The times in seconds by which each of ``shares`` was done; None where it was not reached.

    ``timed`` (n,) were measured, ``cut`` (m,) were not over by then. Empty if nothing was timed.
    Without any cut short: median-unbiased (Hyndman & Fan 1996, their definition 8).
    """
    if len(timed) == 0:
        return ()
    if len(cut) == 0:
        found = np.quantile(timed, shares, method="median_unbiased")
        return tuple(float(q) for q in found)
    left = scipy.stats.ecdf(scipy.stats.CensoredData(timed, right=cut)).sf
    return tuple(_reached(left.quantiles, left.probabilities, 1 - share) for share in shares)


def _reached(times: Times, left: Times, share: float) -> float | None:
    """The time at which only ``share`` is ``left``; the middle of the step if it is just that."""
    at = int(np.searchsorted(-left, -share - ROUNDING))
    if at == len(times):
        return None
    exact = abs(left[at] - share) <= ROUNDING
    steps = times[at:][left[at:] < share - ROUNDING]
    return float((times[at] + steps[0]) / 2 if exact and len(steps) else times[at])


def median_ends(timed: Times, cut: Times, level: float) -> tuple[float, float] | None:
    """Between which the median lies with the confidence ``level``; the upper end is infinite where
    too many were cut short. None for fewer than six times.

    By the sign test, which is exact, if every time that was cut short is longer than all that were
    measured; else by the product-limit estimate's own interval (Brookmeyer & Crowley 1982, with
    the logarithm of the logarithm; from memory).
    """
    if len(timed) + len(cut) < 6:  # 2 * 0.5 ** 5 is more than 1 - level
        return None
    if len(cut) == 0 or cut.min() >= timed.max(initial=0.0):
        whole = np.concatenate([timed, np.full(len(cut), np.inf)])
        low, high = scipy.stats.quantile_test(whole, q=0.0, p=0.5).confidence_interval(level)
        return float(low), float(high)
    times, lower, upper = _limits(timed, cut, scipy.stats.norm.ppf((1 + level) / 2))
    first, last = (np.flatnonzero(its <= 0.5) for its in (lower, upper))
    return (
        float(times[first[0]]) if len(first) else math.inf,
        float(times[last[0]]) if len(last) else math.inf,
    )


def _limits(timed: Times, cut: Times, reach: float) -> tuple[Times, Times, Times]:
    """At each time that was measured, the limits of the share that is left then: of the logarithm
    of its logarithm, ``reach`` standard errors (Greenwood's) to both sides."""
    times, counts = np.unique(timed, return_counts=True)
    still = np.array([(timed >= time).sum() + (cut >= time).sum() for time in times])
    some = counts < still  # at a last time that was measured, nothing is left
    times, over, still = times[some], counts[some], still[some]
    log_left = np.cumsum(np.log1p(-over / still))
    error = np.sqrt(np.cumsum(over / (still * (still - over)))) / np.abs(log_left)
    lower, upper = (np.exp(log_left * np.exp(sign * reach * error)) for sign in (1, -1))
    return times, lower, upper
