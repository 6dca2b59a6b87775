"""A pupil's pages: rounds in class and at home, and what the pupil has done."""

from __future__ import annotations

import asyncio

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from oralquiz.audio import chirp, find_echo
from oralquiz.beads import Rule
from oralquiz.learn import rule_words
from oralquiz.records import Pupil, bests, follow, held
from oralquiz.sound import SESSION_RATE, from_pcm16, to_pcm16
from oralquiz.web.identity import classroom_of, sees, visit_of, who
from oralquiz.web.pages import go, page, pupils_only
from oralquiz.web.plan_form import STRETCHES
from oralquiz.web.sockets import set_of

BREAK_AFTER_MIN = 10
"""Minutes of practice after which a page suggests a break."""

COUNTS = (3, 5, 6, 8, 10, 12)
"""Sums of a round of practice to choose from."""

ROUNDS = 6
"""Rounds to look at again on a pupil's page."""


@pupils_only
async def me(request: Request, pupil: Pupil) -> Response:
    classroom, here = classroom_of(request), await who(request)
    step_set = await set_of(classroom, pupil)
    learner = await classroom.records.apart(follow, pupil, classroom.syllabus)
    rounds = await classroom.records.do(held, pupil=pupil.id, limit=ROUNDS)
    place = classroom.roster.places.get(pupil.id)
    return page(
        request,
        "me.html",
        pupil=pupil,
        home=here.home,
        earlier=here.earlier,
        asked=place is not None and bool(place.asking),
        today=step_set,
        step=classroom.syllabus.step(learner.step),
        rules=[(name, rule_words(Rule.parse(name))) for name in learner.practice.skills()],
        counts=sorted({*COUNTS, step_set.count}),
        minutes=max(1, round(step_set.count * (step_set.terms * step_set.pace_s + 8) / 60)),
        bests=await classroom.records.do(bests, pupil.id) if here.earlier else (),
        rounds=[one for one in rounds if sees(classroom, here, visit_of(request), one.id)],
        steps={step.name: step.title for step in classroom.syllabus.steps},
        stretches=STRETCHES,
        break_after=BREAK_AFTER_MIN,
    )


@pupils_only
async def ask(request: Request, pupil: Pupil) -> Response:
    """Ask the teacher to see, on this device, what was recorded before."""
    classroom, here = classroom_of(request), await who(request)
    if not here.earlier:
        classroom.roster.ask(pupil)
    return go(request, "/me")


async def chirp_sound(request: Request) -> Response:
    """The chirp that a page plays to measure its delay, as 16-bit PCM at 16 kHz."""
    return Response(to_pcm16(chirp()).tobytes(), media_type="application/octet-stream")


async def chirp_heard(request: Request) -> Response:
    """What the page heard from the chirp's start on: how long the chirp took to come back."""
    here = await who(request)
    if not (here.teacher or here.pupil):
        return JSONResponse({"trouble": "Sign in first."}, 403)
    body = await request.body()
    heard = from_pcm16(body)
    echo = await asyncio.to_thread(find_echo, heard, chirp())
    if echo is None:
        trouble = "The chirp was not heard: with headphones that is as it should be."
        return JSONResponse({"trouble": trouble}, 422)
    return JSONResponse({"delay_s": echo.at / SESSION_RATE})


async def clip(request: Request) -> Response:
    """A sound that the visitor's own round is about to play, as 16-bit PCM at 16 kHz."""
    classroom = classroom_of(request)
    here = await who(request)
    device = None
    if here.teacher:
        device = classroom.roster.front
    elif here.pupil is not None:
        device = classroom.roster.device_of(here.pupil)
    running = device.running if device is not None else None
    data = None
    if running is not None and running.key == request.path_params["run"]:
        data = running.stream.clips.get(request.path_params["clip"])
    if data is None:
        return JSONResponse({"trouble": "There is no such sound."}, 404)
    return Response(data, media_type="application/octet-stream")
