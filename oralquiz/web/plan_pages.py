"""The page that plans a round, and a sample of what the plan would ask."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from oralquiz.beads import Sum
from oralquiz.errors import OralquizError
from oralquiz.records import class_names, pupils
from oralquiz.replay import written
from oralquiz.rounds import RoundPlan, Turn, Way, sums_for
from oralquiz.sound import SESSION_RATE, wav_bytes
from oralquiz.web.identity import classroom_of
from oralquiz.web.pages import chosen_of, form_of, go, page, plainly, teachers, whole_number
from oralquiz.web.plan_form import MAX_SUMS, MAX_TERMS, PACES, read_plan
from oralquiz.web.rule_grid import grid_of, pace_of


@teachers
async def plan_page(request: Request) -> Response:
    classroom = classroom_of(request)
    trouble, chosen = "", classroom.chosen
    plan = classroom.plan or RoundPlan(classroom.syllabus.steps[0].name)
    wanted = request.query_params.get("step", "")
    names = await classroom.records.do(class_names)
    if request.method == "POST":
        form = await form_of(request)
        numbers = map(whole_number, await chosen_of(request, "pupil"))
        chosen = frozenset(number for number in numbers if number is not None)
        if form.get("class") in names:  # the class whose pupils the page offered
            classroom.class_name = form["class"]
        try:
            plan = read_plan(form, classroom.syllabus)
            await asyncio.to_thread(sums_for, plan, 1)
        except OralquizError as error:
            trouble = plainly(error)
        else:
            classroom.plan, classroom.chosen, classroom.planned_for = (
                plan,
                chosen,
                classroom.class_name,
            )
            return go(request, "/live")
    if classroom.class_name not in names:
        classroom.class_name = names[0] if names else ""
    grid = await grid_of(classroom)
    known = await classroom.records.do(pupils, classroom.class_name)
    if wanted in [step.name for step in classroom.syllabus.steps] and not trouble:
        needing = grid.needing(wanted)
        pace_s = await pace_of(classroom, needing) or plan.pace_s
        plan = replace(plan, step=wanted, pace_s=min(max(pace_s, PACES[0]), PACES[1]))
        chosen = frozenset(pupil.id for pupil in known if pupil.name in needing)
    return page(
        request,
        "plan.html",
        400 if trouble else 200,
        trouble=trouble,
        plan=plan,
        ways=Way,
        chosen=chosen,
        steps=classroom.syllabus.steps,
        voices=await classroom.assembly.voices(),
        class_name=classroom.class_name,
        pupils=known,
        lesson=None if wanted else grid.lesson,
        lesson_url=grid.plan_url,
        lesson_pace=await pace_of(classroom),
        most={"sums": MAX_SUMS, "terms": MAX_TERMS, "pace": PACES},
    )


@teachers
async def sample(request: Request) -> Response:
    """One sum as the plan would have it: to look at, to listen to, and how many there are."""
    classroom = classroom_of(request)
    try:
        plan = read_plan(request.query_params, classroom.syllabus)
        composed = await asyncio.to_thread(sums_for, plan, 1)
    except OralquizError as error:
        return JSONResponse({"trouble": plainly(error)}, 400)
    terms = composed.sums[0]
    total = "" if composed.total is None else f"{composed.total:,}"
    return JSONResponse(
        {"sum": str(terms), "written": written(terms.terms), "answer": terms.answer, "total": total}
    )


@teachers
async def sample_sound(request: Request) -> Response:
    """A sum read aloud as the plan would have it, as a WAV file."""
    classroom = classroom_of(request)
    try:
        plan = read_plan(request.query_params, classroom.syllabus)
        terms = Sum.parse(request.query_params.get("sum", "")[:200])
        reader = await classroom.assembly.reader(plan)
        dictation = await asyncio.to_thread(reader.dictation, Turn("", terms))
    except OralquizError as error:
        return JSONResponse({"trouble": plainly(error)}, 400)
    return Response(wav_bytes(dictation.samples, SESSION_RATE), media_type="audio/wav")
