"""The charts of one pupil's weeks, and of a class's: right answers, speed, and the pace held."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from oralquiz.learn import ClassWeek, Spread, Week
from oralquiz.report.charts import Chart, ChartPoint, Shape, seconds_scale

MOST_WEEKS = 16
SHARES = (0.0, 25.0, 50.0, 75.0, 100.0)


def pupil_charts(weeks: Sequence[Week]) -> tuple[Chart, ...]:
    """The charts of the last MOST_WEEKS weeks; none for a pupil who has not answered yet."""
    weeks = weeks[-MOST_WEEKS:]
    if not weeks:
        return ()
    return (
        Chart(
            "Right answers",
            [_right(week) for week in weeks],
            SHARES,
            "%",
            Shape.DOT,
            ("right, out of right and wrong", "95 % confidence limits"),
        ),
        _seconds(
            "Speed",
            [_speed(week) for week in weeks],
            Shape.SQUARE,
            ("half of the answers within", "95 % confidence limits"),
        ),
        _seconds(
            "Pace held",
            [ChartPoint(_day(week.monday), *_ends(week.pace)) for week in weeks],
            Shape.DASH,
            ("usual time from term to term", "quickest to slowest"),
        ),
    )


def class_charts(weeks: Sequence[ClassWeek]) -> tuple[Chart, ...]:
    """The charts of a class, in which every pupil counts alike; none if nobody has answered."""
    weeks = weeks[-MOST_WEEKS:]
    if not weeks:
        return ()
    half = "the middle half of the pupils"
    return (
        Chart(
            "Right answers",
            [_shares(week) for week in weeks],
            SHARES,
            "%",
            Shape.DOT,
            ("right, middle pupil", half),
        ),
        _seconds(
            "Speed",
            [ChartPoint(_day(week.monday), *_ends(week.half_within)) for week in weeks],
            Shape.SQUARE,
            ("half within, middle pupil", half),
        ),
        _seconds(
            "Pace held",
            [ChartPoint(_day(week.monday), *_ends(week.pace)) for week in weeks],
            Shape.DASH,
            ("from term to term, middle pupil", half),
        ),
    )


def _right(week: Week) -> ChartPoint:
    share, ends = week.found.accuracy, week.found.accuracy_interval
    if share is None or ends is None:
        return ChartPoint(_day(week.monday), None)
    return ChartPoint(_day(week.monday), 100 * share, 100 * ends.low, 100 * ends.high)


def _speed(week: Week) -> ChartPoint:
    speed = week.found.speed
    ends = speed.median_interval
    low, high = (ends.low, ends.high) if ends else (None, None)
    return ChartPoint(_day(week.monday), speed.median, low, high)


def _shares(week: ClassWeek) -> ChartPoint:
    value, low, high = _ends(week.right)
    return ChartPoint(
        _day(week.monday), *(None if v is None else 100 * v for v in (value, low, high))
    )


def _ends(spread: Spread | None) -> tuple[float | None, float | None, float | None]:
    return (spread.middle, spread.low, spread.high) if spread else (None, None, None)


def _seconds(
    title: str, points: Sequence[ChartPoint], mark: Shape, legend: tuple[str, str]
) -> Chart:
    """The scale holds every mark, and lines up to twice as high as the highest mark."""
    values = [point.value for point in points if point.value is not None]
    highest = max(values, default=1.0)
    ends = [min(point.high, 2 * highest) for point in points if point.high is not None]
    return Chart(title, points, seconds_scale(max([highest, *ends])), "s", mark, legend)


def _day(monday: date) -> str:
    """``4 Mar``."""
    return f"{monday.day} {monday:%b}"
