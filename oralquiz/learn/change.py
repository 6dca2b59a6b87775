"""Change over weeks: always with an interval, and none claimed where the days are too few.

The unit is the day, not the answer: answers of one lesson share its sums, its pace and its mood,
and would make chance look like progress. Compare like with like: pass the answers of one rule or
one step, for later lessons are harder.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy import stats

from oralquiz.judge import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.speed import LEVEL, Interval, SpeedAccuracy, speed_accuracy

FEWEST_DAYS = 5
"""With four days none of their 24 orders is rare enough for an interval of LEVEL."""


@dataclass(frozen=True)
class Week:
    """The answers of the week that begins on ``monday``."""

    monday: date
    days: int
    found: SpeedAccuracy


def weeks(answers: Iterable[Answer]) -> tuple[Week, ...]:
    """The weeks in which something was answered, the first one first."""
    by_monday: dict[date, list[Answer]] = {}
    for answer in answers:
        monday = answer.day - timedelta(days=answer.day.weekday())
        by_monday.setdefault(monday, []).append(answer)
    return tuple(
        Week(monday, len({answer.day for answer in its}), speed_accuracy(its))
        for monday, its in sorted(by_monday.items())
    )


@dataclass(frozen=True)
class Trend:
    """The change per week of something measured on ``days`` days.

    ``per_week`` is the Theil-Sen slope, the median of the slopes between all pairs of days, with
    Sen's interval. ``certain``: the interval does not hold 0.
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

    None with fewer than FEWEST_DAYS days on which something was judged right or wrong.
    """
    points = []
    for day, its in _by_day(answers):
        judged = [a for a in its if a.verdict in (Verdict.RIGHT, Verdict.WRONG)]
        if judged:
            points.append((day, sum(a.verdict is Verdict.RIGHT for a in judged) / len(judged)))
    return _trend(points)


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
    slope, _, low, high = stats.theilslopes(values, weeks_since, alpha=LEVEL)
    return Trend(float(slope), Interval(float(low), float(high)), len(points))
