"""How one pupil is doing: rule by rule, how many right and how quickly, week by week, what
repeats."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from oralquiz.beads import Rule, Syllabus
from oralquiz.errors import BadInput
from oralquiz.learn import (
    Answer,
    Skill,
    Standing,
    half_within,
    progress_sentences,
    rule_words,
    seconds_words,
    share_words,
    standing_of,
    weakness_words,
    weaknesses,
    weeks,
)
from oralquiz.records import answers_of, find_pupil, rule_states, scores
from oralquiz.report import chart_svg, pupil_charts
from oralquiz.web.identity import classroom_of
from oralquiz.web.pages import go, page, plainly, teachers


@teachers
async def progress(request: Request) -> Response:
    records = classroom_of(request).records
    try:
        pupil = await records.do(find_pupil, request.query_params.get("name", ""))
    except BadInput as error:
        return go(request, "/class", plainly(error))
    answers = await records.do(answers_of, pupil.name)
    score = next((s for s in await records.do(scores) if s.pupil == pupil.name), None)
    skills = await records.do(rule_states)
    found = await asyncio.to_thread(_found, answers)
    by_rule = score.by_rule if score else {}
    standings = _standings(classroom_of(request).syllabus, skills.get(pupil.id, {}))
    return page(
        request, "progress.html", pupil=pupil, by_rule=by_rule, standings=standings, **found
    )


def _standings(syllabus: Syllabus, skills: Mapping[Rule, Skill]) -> list[tuple[str, Standing, str]]:
    """The rules that the pupil met, in the course's order: in words, the standing, and when it is
    due (ISO 8601; empty: not yet known)."""
    now = datetime.now(UTC)
    order = [rule for step in syllabus.steps for rule in step.adds if rule in skills]
    return [
        (
            rule_words(rule),
            standing_of(rule, skills[rule], now),
            due.isoformat() if (due := skills[rule].due) else "",
        )
        for rule in order
    ]


def _found(answers: Sequence[Answer]) -> dict[str, Any]:
    """What the statistics say. The first time, they take a second to load."""
    by_week = weeks(answers)
    return {
        "charts": [Markup(chart_svg(chart)) for chart in pupil_charts(by_week)],
        "sentences": progress_sentences(answers) if answers else (),
        "weeks": [
            (week, share_words(week.found), half_within(week.found.speed), seconds_words(week.pace))
            for week in by_week
        ],
        "weak": [(weakness_words(weakness), weakness.evidence) for weakness in weaknesses(answers)],
    }
