"""Latencies as psychology reports them: medians, quantiles, trimming, and accuracy beside them.

What enters, and why:

* Only **right** answers tell how long a sum takes; the latency of a wrong one is a different
  quantity. Where nothing was said by the deadline, the sum took longer than that (`cut_times`).
  Unclear answers have no latency and are counted as missing.
* An answer that begins less than EARLY_S after the last term ended cannot be a reaction to its
  last sound (simple reactions take a tenth of a second; Luce 1986, from memory). It is *early*:
  counted, not averaged.
* Medians and quantiles take all the rest: they need no trimming, and a median of trimmed times
  is biased (Miller 1988, from memory). Quantiles are median-unbiased (Hyndman & Fan 1996, their
  definition 8).
* Means, which cannot take in what was cut short, are trimmed: what lies more than TRIM scaled
  median absolute deviations from the median of the logarithms is left out and counted (Leys et
  al. 2013 for the deviation and the factor; on logarithms since latencies are skewed to the right;
  from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np
import scipy  # its parts are loaded when they are first used
from numpy.typing import NDArray

from oralquiz.judge import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.cut_times import median_ends, quantiles

EARLY_S = 0.1
TRIM = 3.0
LEVEL = 0.95
"""Of all intervals."""

NONE = np.array([], dtype=np.float64)

_MAD = 1.4826  # makes the median absolute deviation of a normal sample its standard deviation


@dataclass(frozen=True)
class Interval:
    """Where the value lies with a confidence of LEVEL."""

    low: float
    high: float


@dataclass(frozen=True)
class Speed:
    """Latencies of right answers, in seconds.

    ``right`` answers were given: ``timed`` of them enter the median, ``early`` ones do not, and
    the others have no latency. ``cut`` sums had no answer by their deadline: they are slower.
    ``quantiles`` are the 10, 25, 50, 75 and 90 % ones of both; empty when nothing was timed, None
    where one lies beyond the deadline. ``median_interval`` is exact (from the order of the
    latencies alone; its end is infinite where too many were cut short) and None below six of
    them, where even the extremes are not certain enough. ``trimmed_mean`` is the mean of those
    timed without ``trimmed`` outliers.
    """

    right: int
    timed: int
    early: int
    quantiles: tuple[float | None, ...]
    median_interval: Interval | None
    trimmed_mean: float | None
    trimmed: int
    cut: int = 0

    @property
    def median(self) -> float | None:
        return self.quantiles[2] if self.quantiles else None


QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)


def speed(answers: Iterable[Answer]) -> Speed:
    """The latencies of ``answers``."""
    answers = tuple(answers)
    right = [answer for answer in answers if answer.verdict is Verdict.RIGHT]
    measured = [answer.latency_s for answer in right if answer.latency_s is not None]
    timed, cut = times_of(answers)
    kept = within(timed)
    return Speed(
        right=len(right),
        timed=len(timed),
        early=len(measured) - len(timed),
        quantiles=quantiles(timed, cut, QUANTILES),
        median_interval=median_interval(timed, cut),
        trimmed_mean=float(kept.mean()) if len(kept) else None,
        trimmed=len(timed) - len(kept),
        cut=len(cut),
    )


class HasTimes(Protocol):
    """What of an `Answer` says how long it took."""

    @property
    def verdict(self) -> Verdict: ...

    @property
    def latency_s(self) -> float | None: ...

    @property
    def deadline_s(self) -> float | None: ...


def times_of(answers: Sequence[HasTimes]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The latencies (n,) of right answers that are not early, and the deadlines (m,) by which
    nothing was said, in seconds."""
    right = [answer.latency_s for answer in answers if answer.verdict is Verdict.RIGHT]
    silent = [answer.deadline_s for answer in answers if answer.verdict is Verdict.SILENT]
    return (
        np.array([s for s in right if s is not None and s >= EARLY_S], dtype=np.float64),
        np.array([s for s in silent if s is not None], dtype=np.float64),
    )


def median_time(latencies: Iterable[float], deadlines: Iterable[float] = ()) -> float | None:
    """The time in seconds within which half of the answers came: of right ones after ``latencies``
    (early ones are left out), of others not by their ``deadlines``. None where it is not known.
    The one meaning of a pupil's median, wherever it is told."""
    timed = np.array([s for s in latencies if s >= EARLY_S], dtype=np.float64)
    (half,) = quantiles(timed, np.array([*deadlines], dtype=np.float64), (0.5,)) or (None,)
    return half


def within(latencies: NDArray[np.float64]) -> NDArray[np.float64]:
    """``latencies`` (n,), all positive, without outliers. Nothing goes if half are equal."""
    if len(latencies) == 0:
        return latencies
    logs = np.log(latencies)
    distance = np.abs(logs - np.median(logs))
    spread = _MAD * np.median(distance)
    kept: NDArray[np.float64] = latencies[distance <= TRIM * spread] if spread else latencies
    return kept


def median_interval(timed: NDArray[np.float64], cut: NDArray[np.float64] = NONE) -> Interval | None:
    """An interval for the median of what ``timed`` (n,) and ``cut`` (m,) are a sample of."""
    ends = median_ends(timed, cut, LEVEL)
    return Interval(*ends) if ends else None


@dataclass(frozen=True)
class Third:
    """One third of the answers by latency: how quick they were (median, s), how many were right."""

    latency_s: float
    count: int
    right: int


@dataclass(frozen=True)
class SpeedAccuracy:
    """Speed and accuracy side by side, since neither means anything alone.

    ``accuracy`` is the share of right ones among right and wrong answers, with Wilson's interval;
    None without any. ``thirds`` splits those answers by latency, the quickest first (the
    conditional accuracy function): a pupil who is wrong when quick is hasty, one who is wrong
    when slow does not know how. Empty below nine answers with a latency. ``early_right`` of
    ``early`` answers were right.
    """

    right: int
    wrong: int
    unclear: int
    silent: int
    speed: Speed
    accuracy: float | None
    accuracy_interval: Interval | None
    thirds: tuple[Third, ...]
    early: int
    early_right: int


def speed_accuracy(answers: Sequence[Answer]) -> SpeedAccuracy:
    """Speed and accuracy of ``answers``."""
    count = {verdict: sum(a.verdict is verdict for a in answers) for verdict in Verdict}
    right, wrong = count[Verdict.RIGHT], count[Verdict.WRONG]
    judged = [
        (answer.latency_s, answer.verdict is Verdict.RIGHT)
        for answer in answers
        if answer.latency_s is not None and answer.verdict in (Verdict.RIGHT, Verdict.WRONG)
    ]
    early = [was_right for latency, was_right in judged if latency < EARLY_S]
    return SpeedAccuracy(
        right=right,
        wrong=wrong,
        unclear=count[Verdict.UNCLEAR],
        silent=count[Verdict.SILENT],
        speed=speed(answers),
        accuracy=right / (right + wrong) if right + wrong else None,
        accuracy_interval=share_interval(right, right + wrong),
        thirds=_thirds(sorted(pair for pair in judged if pair[0] >= EARLY_S)),
        early=len(early),
        early_right=sum(early),
    )


def share_interval(hits: int, of: int) -> Interval | None:
    """Wilson's interval for a share of which ``hits`` in ``of`` were seen; None if ``of`` is 0."""
    if of == 0:
        return None
    interval = scipy.stats.binomtest(hits, of).proportion_ci(LEVEL, method="wilson")
    return Interval(float(interval.low), float(interval.high))


def _thirds(judged: Sequence[tuple[float, bool]]) -> tuple[Third, ...]:
    if len(judged) < 9:
        return ()
    cuts = [round(i * len(judged) / 3) for i in range(4)]
    thirds = []
    for begin, end in pairwise(cuts):
        part = judged[begin:end]
        median = float(np.median([latency for latency, _ in part]))
        thirds.append(Third(median, len(part), sum(was_right for _, was_right in part)))
    return tuple(thirds)
