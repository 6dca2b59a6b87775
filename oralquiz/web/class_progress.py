"""How the class does week by week: charts, and the numbers they show."""

from __future__ import annotations

import asyncio
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from oralquiz.learn import ClassWeek, class_weeks, monday_of, percent_words, seconds_words
from oralquiz.records import timings_of_class
from oralquiz.report import chart_svg, class_charts
from oralquiz.web.classroom import Classroom

WEEKS = 10
"""So many weeks back, this one among them."""


async def weeks_of(classroom: Classroom) -> dict[str, Any]:
    """What the class's page shows of its weeks: ``charts`` and ``weeks``, both empty at first."""
    since = monday_of(date.today()) - timedelta(weeks=WEEKS - 1)
    timings = await classroom.records.apart(timings_of_class, classroom.class_name, since)
    return await asyncio.to_thread(lambda: _shown(class_weeks(timings)))


def _shown(weeks: tuple[ClassWeek, ...]) -> dict[str, Any]:
    return {
        "charts": [Markup(chart_svg(chart)) for chart in class_charts(weeks)],
        "weeks": [
            (
                week,
                percent_words(week.right),
                seconds_words(week.half_within),
                seconds_words(week.pace),
            )
            for week in weeks
        ],
    }
