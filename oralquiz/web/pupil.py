"""A pupil's pages: the stage, in class and at home, and what the pupil has done."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from oralquiz.records.pupils import Pupil
from oralquiz.web.pages import page, pupils_only
from oralquiz.web.plan import STRETCHES
from oralquiz.web.sets import bests, held
from oralquiz.web.sockets import set_of
from oralquiz.web.who import house_of, who

BREAK_AFTER_MIN = 10
"""Minutes of practice after which a page proposes a break."""


@pupils_only
async def me(request: Request, pupil: Pupil) -> Response:
    house = house_of(request)
    step_set = await set_of(house, pupil, house.syllabus)
    return page(
        request,
        "me.html",
        pupil=pupil,
        home=(await who(request)).home,
        today=step_set,
        step=house.syllabus.step(step_set.step),
        minutes=max(1, round(step_set.count * (step_set.terms * step_set.pace_s + 8) / 60)),
        bests=await house.records.do(bests, pupil.id),
        rounds=await house.records.do(held, pupil=pupil.id, limit=6),
        steps={step.name: step.title for step in house.syllabus.steps},
        stretches=STRETCHES,
        break_after=BREAK_AFTER_MIN,
    )


async def clip(request: Request) -> Response:
    """A sound that one's own run is about to play, as 16-bit PCM at 16 kHz."""
    house = house_of(request)
    here = await who(request)
    device = None
    if here.teacher:
        device = house.front
    elif here.pupil is not None:
        device = house.device_of(here.pupil)
    run = device.run if device is not None else None
    data = None
    if run is not None and run.key == request.path_params["run"]:
        data = run.clips.get(request.path_params["clip"])
    if data is None:
        return JSONResponse({"trouble": "There is no such sound."}, 404)
    return Response(data, media_type="application/octet-stream")
