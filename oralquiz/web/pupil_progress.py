"""How one pupil is doing: rule by rule, how many right and how quickly, week by week, what
repeats."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from oralquiz.errors import BadInput
from oralquiz.learn import (
    Answer,
    half_within,
    progress_sentences,
    share_words,
    weakness_words,
    weaknesses,
    weeks,
)
from oralquiz.records import answers_of, find_pupil, scores
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
    found = await asyncio.to_thread(_found, answers)
    by_rule = score.by_rule if score else {}
    return page(request, "progress.html", pupil=pupil, by_rule=by_rule, **found)


def _found(answers: Sequence[Answer]) -> dict[str, Any]:
    """What the statistics say; at the first time they take a second to load."""
    return {
        "sentences": progress_sentences(answers) if answers else (),
        "weeks": [
            (week, share_words(week.found), half_within(week.found.speed))
            for week in weeks(answers)
        ],
        "weak": [(weakness_words(weakness), weakness.evidence) for weakness in weaknesses(answers)],
    }
