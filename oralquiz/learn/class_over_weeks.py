"""How a class does week by week: its pupils side by side, never thrown together.

A pupil who practises much would otherwise speak for the whole class.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from oralquiz.judge import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.speed import median_time, times_of


@dataclass(frozen=True)
class JudgedSum:
    """Of an answered sum, what the weeks of a class need; as in `Answer`."""

    day: date
    verdict: Verdict
    latency_s: float | None = None
    deadline_s: float | None = None
    pace_s: float | None = None


@dataclass(frozen=True)
class Spread:
    """The middle one of several values, and those between which the middle half of them lies, or
    (for a pupil's paces) all."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class ClassWeek:
    """The week from ``monday``: how many pupils answered, their shares of right answers, the times
    within which half of each one's came, and their usual paces, in seconds."""

    monday: date
    pupils: int
    right: Spread | None
    half_within: Spread | None
    pace: Spread | None


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def class_weeks(judged: Mapping[str, Iterable[JudgedSum]]) -> tuple[ClassWeek, ...]:
    """The weeks in which some of the pupils answered, the first one first."""
    by_week: dict[date, dict[str, list[JudgedSum]]] = {}
    for pupil, its in judged.items():
        for one in its:
            by_week.setdefault(monday_of(one.day), {}).setdefault(pupil, []).append(one)
    return tuple(
        ClassWeek(
            monday,
            len(pupils),
            _spread([_share(its) for its in pupils.values()]),
            _spread([median_time(*times_of(its)) for its in pupils.values()]),
            _spread([pace.middle for its in pupils.values() if (pace := pace_held(its))]),
        )
        for monday, pupils in sorted(by_week.items())
    )


def pace_held(judged: Iterable[JudgedSum | Answer]) -> Spread | None:
    """The quickest, the usual (median) and the slowest pace of one pupil."""
    paces = [one.pace_s for one in judged if one.pace_s is not None]
    return Spread(min(paces), float(np.median(paces)), max(paces)) if paces else None


def _share(judged: Sequence[JudgedSum]) -> float | None:
    verdicts = [one.verdict for one in judged]
    right, wrong = verdicts.count(Verdict.RIGHT), verdicts.count(Verdict.WRONG)
    return right / (right + wrong) if right + wrong else None


def _spread(values: Iterable[float | None]) -> Spread | None:
    known = [value for value in values if value is not None]
    if not known:
        return None
    return Spread(*(float(q) for q in np.quantile(known, [0.25, 0.5, 0.75])))
