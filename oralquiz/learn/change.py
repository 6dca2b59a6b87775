"""Change over weeks: always with an interval, and none claimed where the days are too few.

The unit is the day, not the answer: answers of one lesson share its sums, its pace and its mood,
and would make chance look like progress. Compare like with like: pass the answers of one rule or
one step, for later lessons are harder.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import scipy  # its parts are loaded when they are first used
from numpy.typing import NDArray

from oralquiz.judge import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.class_over_weeks import Spread, monday_of, pace_held
from oralquiz.learn.speed import LEVEL, Interval, SpeedAccuracy, speed_accuracy

FEWEST_DAYS = 5
"""With four days none of their 24 orders is rare enough for an interval of LEVEL."""


@dataclass(frozen=True)
class Week:
    """The answers of the week that begins on ``monday``, and the quickest, the usual and the
    slowest pace in it."""

    monday: date
    days: int
    found: SpeedAccuracy
    pace: Spread | None = None


def weeks(answers: Iterable[Answer]) -> tuple[Week, ...]:
    """The weeks in which something was answered, the first one first."""
    by_monday: dict[date, list[Answer]] = {}
    for answer in answers:
        by_monday.setdefault(monday_of(answer.day), []).append(answer)
    return tuple(
        Week(monday, len({answer.day for answer in its}), speed_accuracy(its), pace_held(its))
        for monday, its in sorted(by_monday.items())
    )


@dataclass(frozen=True)
class Trend:
    """The change per week of something measured on ``days`` days.

    Of a time, ``per_week`` is the Theil-Sen slope, the median of the slopes between all pairs of
    days, with Sen's interval, made wider where good and bad days come in runs; of a share, see
    `accuracy_trend`. ``certain``: the interval does not hold 0.
    """

    per_week: float
    interval: Interval
    days: int

    @property
    def certain(self) -> bool:
        return not self.interval.low <= 0 <= self.interval.high


def latency_trend(answers: Iterable[Answer]) -> Trend | None:
    """The change of the median latency of right answers, in seconds a week (< 0: quicker).

    None with fewer than FEWEST_DAYS days on which a right answer was timed.
    """
    points = []
    for day, its in _by_day(answers):
        median = speed_accuracy(its).speed.median
        if median is not None:
            points.append((day, median))
    return _trend(points)


def accuracy_trend(answers: Iterable[Answer]) -> Trend | None:
    """The change of the share of right answers, a week (0.05: five percentage points).

    A logistic fit to the days' counts, told as the change at the mean share. Good and bad days
    are allowed for: where they spread around the fit by more than chance alone (Pearson's
    statistic), the interval is widened by that spread, and by what neighbouring days have in
    common, and is Student's. None with fewer than FEWEST_DAYS days on which something was judged
    right or wrong.
    """
    days, right, judged = [], [], []
    for day, its in _by_day(answers):
        verdicts = [a.verdict for a in its if a.verdict in (Verdict.RIGHT, Verdict.WRONG)]
        if verdicts:
            days.append(day)
            right.append(verdicts.count(Verdict.RIGHT))
            judged.append(len(verdicts))
    if len(days) < FEWEST_DAYS:
        return None
    weeks_since = np.array([(day - days[0]).days / 7 for day in days])
    return logistic_trend(weeks_since, np.array(right), np.array(judged))


HALF = 0.25
"""Added to the right and to the wrong of each day, so that a day without either has a logit."""


def logistic_trend(
    weeks_since: NDArray[np.float64], right: NDArray[np.int64], judged: NDArray[np.int64]
) -> Trend:
    """The fit by iteratively reweighted least squares."""
    counts, share = judged + 2 * HALF, (right + HALF) / (judged + 2 * HALF)
    design = np.stack([np.ones_like(weeks_since), weeks_since - weeks_since.mean()], axis=1)
    logit = np.log(share / (1 - share))
    for _ in range(30):
        fitted = 1 / (1 + np.exp(-logit))
        weight = np.maximum(counts * fitted * (1 - fitted), 1e-9)
        variance = np.linalg.inv(design.T @ (weight[:, None] * design))
        found = variance @ (design.T @ (weight * logit + counts * (share - fitted)))
        logit = np.clip(design @ found, -20, 20)
    freedom = len(judged) - 2
    left = counts * (share - fitted) / np.sqrt(weight)
    spread = max(1.0, float((left**2).sum()) / freedom)
    if spread > 1:
        spread *= _in_runs(left)
    tail = (1 + LEVEL) / 2
    reach = scipy.stats.norm.ppf(tail) if spread == 1 else scipy.stats.t.ppf(tail, freedom)
    half = float(reach * (spread * variance[1, 1]) ** 0.5)
    mean = float((counts * share).sum() / counts.sum())
    slope, scale = float(found[1]), mean * (1 - mean)
    interval = Interval(scale * (slope - half), scale * (slope + half))
    return Trend(scale * slope, interval, len(judged))


def _in_runs(left: NDArray[np.float64]) -> float:
    """By how much good and bad days that come in runs make the variance of a slope larger: what
    neighbouring days' residuals ``left`` (n,) have in common, as in an autoregressive series.

    The correlation is estimated too low in few days, by about (1 + 4 r) / n for a fitted line
    (Kendall 1954, for a mean: 1 + 3 r; from memory).
    """
    common = float(left[1:] @ left[:-1] / (left @ left))
    common = min(max(common + (1 + 4 * max(common, 0.0)) / len(left), 0.0), 0.75)
    return (1 + common) / (1 - common)


def _by_day(answers: Iterable[Answer]) -> list[tuple[date, list[Answer]]]:
    found: dict[date, list[Answer]] = {}
    for answer in answers:
        found.setdefault(answer.day, []).append(answer)
    return sorted(found.items())


def _trend(points: Sequence[tuple[date, float]]) -> Trend | None:
    if len(points) < FEWEST_DAYS:
        return None
    weeks_since = np.array([(day - points[0][0]).days / 7 for day, _ in points])
    values = np.array([value for _, value in points])
    slope, start, low, high = scipy.stats.theilslopes(values, weeks_since, alpha=LEVEL)
    left = values - start - slope * weeks_since
    wider = _in_runs(left) ** 0.5 if left.any() else 1.0
    interval = Interval(float(slope - wider * (slope - low)), float(slope + wider * (high - slope)))
    return Trend(float(slope), interval, len(points))
