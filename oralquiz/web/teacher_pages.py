"""The teacher's pages: the class, the round, the wall."""

from __future__ import annotations

import asyncio
import io
from datetime import UTC, datetime
from typing import Any

import segno
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from oralquiz.errors import BadInput, OralquizError
from oralquiz.records import (
    PracticeSet,
    Pupil,
    add_class,
    add_pupil,
    class_names,
    clean_name,
    find_pupil,
    give_set,
    pupils,
    set_consent,
    todays_set,
)
from oralquiz.rounds import Way, sums_for
from oralquiz.web.class_progress import weeks_of
from oralquiz.web.classroom import Classroom
from oralquiz.web.identity import classroom_of, who
from oralquiz.web.pages import form_of, go, page, plainly, teachers
from oralquiz.web.plan_form import read_plan
from oralquiz.web.records_thread import RecordsThread
from oralquiz.web.rule_grid import SIGNS, grid_of

MOST_LETTERS = 60


def qr(text: str) -> Markup:
    """A QR code as SVG without inline styles."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=4, light="#fff"
    )
    return Markup(out.getvalue().decode())


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def join_url(classroom: Classroom, request: Request, code: str) -> str:
    base = classroom.network_url or f"{request.url.scheme}://{request.url.netloc}"
    return f"{base}/join?code={code}"


@teachers
async def class_page(request: Request) -> Response:
    classroom = classroom_of(request)
    names = await classroom.records.do(class_names)
    wanted = request.query_params.get("name")
    if wanted in names:
        classroom.class_name = str(wanted)
    elif classroom.class_name not in names:
        classroom.class_name = names[0] if names else ""
    return await _class_page(request, names)


async def _class_page(request: Request, names: list[str], **more: Any) -> Response:
    classroom = classroom_of(request)
    known = await classroom.records.do(pupils, classroom.class_name) if names else []
    code = classroom.codes.open_for(classroom.class_name)
    return page(
        request,
        "class.html",
        names=names,
        class_name=classroom.class_name,
        pupils=known,
        here={d.key for d in classroom.roster.devices.values() if d.online},
        taken=set(classroom.roster.places),
        asking=classroom.roster.asking(),
        carded={pupil.id for pupil in known if classroom.codes.card_of(pupil)},
        code=code,
        qr=qr(join_url(classroom, request, code)) if code else "",
        join_url=join_url(classroom, request, code).split("?")[0] if code else "",
        today=await classroom.records.do(todays_set, classroom.class_name),
        steps=classroom.syllabus.steps,
        grid=await grid_of(classroom),
        signs=SIGNS,
        **(await weeks_of(classroom)),
        **({"card": None} | more),
    )


async def _card_page(request: Request, pupil: Pupil) -> Response:
    """The page of the class, showing the pupil's card."""
    classroom = classroom_of(request)
    found = classroom.codes.card_of(pupil)
    assert found is not None
    code, ticket = found
    card = {
        "pupil": pupil,
        "code": code,
        "qr": qr(join_url(classroom, request, code)),
        "address": join_url(classroom, request, code).split("?")[0],
        "until": datetime.fromtimestamp(ticket.expires).astimezone().strftime("%Y-%m-%d"),
    }
    return await _class_page(request, await classroom.records.do(class_names), card=card)


@teachers
async def class_change(request: Request) -> Response:
    classroom, form = classroom_of(request), await form_of(request)
    what, name = form.get("what", ""), form.get("pupil", "")
    try:
        return await _change(request, classroom, form, what, name)
    except OralquizError as error:
        return go(request, "/class", plainly(error))


async def _change(
    request: Request, classroom: Classroom, form: dict[str, str], what: str, name: str
) -> Response:
    records = classroom.records
    if (
        form.get("class", classroom.class_name) != classroom.class_name
    ):  # another window went elsewhere
        if form["class"] not in await records.do(class_names):
            raise BadInput("there is no such class")
        classroom.class_name = form["class"]
    class_name = classroom.class_name
    if what == "new class":
        classroom.class_name = " ".join(form.get("name", "").split())[:60]
        if not classroom.class_name:
            raise BadInput("a class needs a name")
        await records.do(add_class, classroom.class_name)
    elif what == "add":
        names = [n for n in map(clean_name, form.get("names", "").splitlines()) if n]
        if not names:
            raise BadInput("write at least one name")
        troubles = [t for n in names if (t := await _add(records, n, class_name))]
        if troubles:
            more = f"; and {len(troubles) - 3} more" if len(troubles) > 3 else ""
            raise BadInput("; ".join(troubles[:3]) + more)
    elif what == "consent":
        await records.do(set_consent, name, form.get("on") == "yes")
    elif what == "erase":
        pupil = await records.do(find_pupil, name)
        erased = await classroom.erase(pupil)
        left = [f"not where it was: {path}" for path in erased.missing]
        left += [f"not erased from: {why}" for why in erased.unreadable]
        note = f"{name} is erased: records, name and voice."
        return go(request, "/class", "; but ".join([note, *left])[:1000])
    elif what == "free":
        classroom.roster.release(await records.do(find_pupil, name))
        return go(request, "/class", f"{name}'s place is free again.")
    elif what in ("allow", "refuse"):
        place = classroom.roster.answer(form.get("asking", ""), yes=what == "allow")
        may = "may now see" if place.allowed else "does not see"
        return go(request, "/class", f"{place.pupil} {may} earlier rounds on that device.")
    elif what == "open":
        classroom.codes.for_class(class_name)
    elif what == "close":
        classroom.codes.close_class(class_name)
        for pupil in await records.do(pupils, class_name):
            classroom.roster.release(pupil)
    elif what == "card":
        pupil = await records.do(find_pupil, name)
        if classroom.codes.card_of(pupil) is None:
            classroom.codes.for_pupil(pupil)
        return await _card_page(request, pupil)
    elif what == "new card":
        pupil = await records.do(find_pupil, name)
        classroom.roster.new_card(pupil)
        return await _card_page(request, pupil)
    elif what == "no card":
        pupil = await records.do(find_pupil, name)
        classroom.roster.take_card_back(pupil)
        return go(request, "/class", f"{pupil.name}'s card no longer works.")
    elif what == "set":
        await _give(classroom, form)
        return go(request, "/class", "The class has its new practice set.")
    else:
        raise BadInput("there is no such action")
    return go(request, "/class")


async def _add(records: RecordsThread, name: str, class_name: str) -> str:
    """Add a pupil; returns why it could not be done, else nothing."""
    if len(name) > MOST_LETTERS:
        return f"a name has at most {MOST_LETTERS} letters, not “{name[:20]}…”"
    try:
        await records.do(add_pupil, name, created=_now(), class_name=class_name)
    except BadInput as error:
        return str(error)
    return ""


async def _give(classroom: Classroom, form: dict[str, str]) -> None:
    plan = read_plan({**form, "way": "own"}, classroom.syllabus)
    await asyncio.to_thread(sums_for, plan, 1)  # refuses what no sum can be made for
    wanted = PracticeSet(plan.step, plan.count, plan.terms, plan.pace_s, _now())
    await classroom.records.do(give_set, classroom.class_name, wanted)


@teachers
async def erase_page(request: Request) -> Response:
    """Asks once more before a pupil is erased."""
    classroom = classroom_of(request)
    known: list[Pupil] = await classroom.records.do(pupils)
    name = request.query_params.get("pupil", "")
    if name not in [p.name for p in known]:
        return go(request, "/class", "There is no such pupil.")
    return page(request, "erase.html", name=name)


@teachers
async def live_page(request: Request) -> Response:
    classroom = classroom_of(request)
    if classroom.plan is None:
        return go(request, "/plan")
    plan = classroom.plan
    step = classroom.syllabus.step(plan.step)
    chosen = [p for p in await classroom.records.do(pupils) if p.id in classroom.chosen]
    code = classroom.codes.open_for(classroom.round_class)
    return page(request, "live.html", plan=plan, step=step, chosen=chosen, ways=Way, code=code)


@teachers
async def wall_page(request: Request) -> Response:
    classroom = classroom_of(request)
    code = classroom.codes.open_for(classroom.class_name)
    return page(
        request,
        "wall.html",
        code=code,
        qr=qr(join_url(classroom, request, code)) if code else "",
        join_url=join_url(classroom, request, code).split("?")[0] if code else "",
    )


async def about(request: Request) -> Response:
    """The cautions, for everyone; the passphrase, for the teacher."""
    classroom = classroom_of(request)
    here = await who(request)
    return page(
        request,
        "about.html",
        teacher=here.teacher,
        pupil=here.pupil,
        fingerprint=classroom.fingerprint,
    )
