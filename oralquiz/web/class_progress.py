"""How the class does week by week: charts, and the numbers they show."""

from __future__ import annotations

import asyncio
from typing import Any

from markupsafe import Markup

from oralquiz.learn import ClassWeek, class_weeks, percent_words, seconds_words
from oralquiz.records import judged_of_class
from oralquiz.report import chart_svg, class_charts
from oralquiz.web.classroom import Classroom

WEEKS = 10
"""How many weeks are shown, back from the last answer."""


async def weeks_of(classroom: Classroom) -> dict[str, Any]:
    """What the class's page shows of its weeks: ``charts`` and ``weeks``, both empty at first."""
    judged = await classroom.records.apart(judged_of_class, classroom.class_name, WEEKS)
    return await asyncio.to_thread(lambda: _shown(class_weeks(judged)))


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
