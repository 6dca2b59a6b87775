"""The teacher's pages: the class, the plan, the round, the wall."""

from __future__ import annotations

import asyncio
import io
from datetime import UTC, datetime
from typing import Any

import segno
import soundfile
from markupsafe import Markup
from sqlite_utils import Database
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from oralquiz.beads import Sum
from oralquiz.errors import BadInput, OralquizError
from oralquiz.records.pupils import (
    Pupil,
    add_pupil,
    clean_name,
    find_pupil,
    pupils,
    set_consent,
)
from oralquiz.replay.phrases import written
from oralquiz.session.ports import SESSION_RATE
from oralquiz.session.round import Turn
from oralquiz.web.house import House, Records
from oralquiz.web.pages import chosen_of, form_of, go, page, plainly, teachers
from oralquiz.web.plan import MAX_SUMS, MAX_TERMS, PACES, Plan, Way, read_plan, sums_for
from oralquiz.web.sets import PracticeSet, give_set, todays_set
from oralquiz.web.who import house_of, who

MOST_LETTERS = 60


def qr(text: str) -> Markup:
    """A QR code as SVG without inline style."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=4, light="#fff"
    )
    return Markup(out.getvalue().decode())


def class_names(db: Database) -> list[str]:
    """Every class, and "" when there are pupils of none."""
    names = [row["name"] for row in db.query("select name from classes order by name")]
    return names + [""] * any(not p.class_name for p in pupils(db))


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def join_url(house: House, request: Request, code: str) -> str:
    base = house.network_url or f"{request.url.scheme}://{request.url.netloc}"
    return f"{base}/join?code={code}"


@teachers
async def class_page(request: Request) -> Response:
    house = house_of(request)
    names = await house.records.do(class_names)
    wanted = request.query_params.get("name")
    if wanted in names:
        house.class_name = str(wanted)
    elif house.class_name not in names:
        house.class_name = names[0] if names else ""
    return await _class_page(request, names)


async def _class_page(request: Request, names: list[str], **more: Any) -> Response:
    house = house_of(request)
    known = await house.records.do(pupils, house.class_name) if names else []
    code = house.codes.open_for(house.class_name)
    return page(
        request,
        "class.html",
        names=names,
        class_name=house.class_name,
        pupils=known,
        here={d.key for d in house.devices.values() if d.online},
        taken=set(house.claims),
        carded={pupil.id for pupil in known if house.codes.card_of(pupil)},
        code=code,
        qr=qr(join_url(house, request, code)) if code else "",
        join_url=join_url(house, request, code).split("?")[0] if code else "",
        today=await house.records.do(todays_set, house.class_name),
        steps=house.syllabus.steps,
        **({"card": None} | more),
    )


async def _card_page(request: Request, pupil: Pupil) -> Response:
    """The class's page with the pupil's card on it."""
    house = house_of(request)
    found = house.codes.card_of(pupil)
    assert found is not None
    code, ticket = found
    card = {
        "pupil": pupil,
        "code": code,
        "qr": qr(join_url(house, request, code)),
        "address": join_url(house, request, code).split("?")[0],
        "until": datetime.fromtimestamp(ticket.expires).astimezone().strftime("%Y-%m-%d"),
    }
    return await _class_page(request, await house.records.do(class_names), card=card)


@teachers
async def class_change(request: Request) -> Response:
    house, form = house_of(request), await form_of(request)
    what, name = form.get("what", ""), form.get("pupil", "")
    try:
        return await _change(request, house, form, what, name)
    except OralquizError as error:
        return go(request, "/class", plainly(error))


async def _change(
    request: Request, house: House, form: dict[str, str], what: str, name: str
) -> Response:
    records = house.records
    if form.get("class", house.class_name) != house.class_name:  # another window went elsewhere
        if form["class"] not in await records.do(class_names):
            raise BadInput("there is no such class")
        house.class_name = form["class"]
    class_name = house.class_name
    if what == "new class":
        house.class_name = " ".join(form.get("name", "").split())[:60]
        if not house.class_name:
            raise BadInput("a class needs a name")
        await records.do(_add_class, house.class_name)
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
        erased = await house.erase(pupil)
        left = [f"not where it was: {path}" for path in erased.missing]
        left += [f"not erased from: {why}" for why in erased.unreadable]
        note = f"{name} is erased: the rows, the name and the voice."
        return go(request, "/class", "; but ".join([note, *left])[:1000])
    elif what == "free":
        house.release(await records.do(find_pupil, name))
        return go(request, "/class", f"{name}'s place is free again.")
    elif what == "open":
        house.codes.for_class(class_name)
    elif what == "close":
        house.codes.close_class(class_name)
        for pupil in await records.do(pupils, class_name):
            house.release(pupil)
    elif what == "card":
        pupil = await records.do(find_pupil, name)
        if house.codes.card_of(pupil) is None:
            house.codes.for_pupil(pupil)
        return await _card_page(request, pupil)
    elif what == "new card":
        pupil = await records.do(find_pupil, name)
        house.new_card(pupil)
        return await _card_page(request, pupil)
    elif what == "no card":
        pupil = await records.do(find_pupil, name)
        house.take_card_back(pupil)
        return go(request, "/class", f"{pupil.name}'s card opens nothing any more.")
    elif what == "set":
        await _give(house, form)
        return go(request, "/class", "The practice set is given.")
    else:
        raise BadInput("there is nothing of that name to do")
    return go(request, "/class")


async def _add(records: Records, name: str, class_name: str) -> str:
    """Add a pupil; returns what is in the way of it, else nothing."""
    if len(name) > MOST_LETTERS:
        return f"a name has at most {MOST_LETTERS} letters, not “{name[:20]}…”"
    try:
        await records.do(add_pupil, name, created=_now(), class_name=class_name)
    except BadInput as error:
        return str(error)
    return ""


def _add_class(db: Database, name: str) -> None:
    db.table("classes").insert({"name": name}, ignore=True)


async def _give(house: House, form: dict[str, str]) -> None:
    plan = read_plan({**form, "way": "own"}, house.syllabus)
    await asyncio.to_thread(sums_for, plan, 1)  # refuses what no sum can be made for
    wanted = PracticeSet(plan.step, plan.count, plan.terms, plan.pace_s, _now())
    await house.records.do(give_set, house.class_name, wanted)


@teachers
async def erase_page(request: Request) -> Response:
    """Asks once more before a pupil is erased."""
    house = house_of(request)
    known: list[Pupil] = await house.records.do(pupils)
    name = request.query_params.get("pupil", "")
    if name not in [p.name for p in known]:
        return go(request, "/class", "There is no such pupil.")
    return page(request, "erase.html", name=name)


# --- planning -------------------------------------------------------------------------------


@teachers
async def plan_page(request: Request) -> Response:
    house = house_of(request)
    trouble, chosen = "", house.chosen
    plan = house.plan or Plan(house.syllabus.steps[0].name)
    names = await house.records.do(class_names)
    if request.method == "POST":
        form = await form_of(request)
        chosen = frozenset(int(c) for c in await chosen_of(request, "pupil") if c.isdecimal())
        if form.get("class") in names:  # the class whose pupils the page offered
            house.class_name = form["class"]
        try:
            plan = read_plan(form, house.syllabus)
            await asyncio.to_thread(sums_for, plan, 1)
        except OralquizError as error:
            trouble = plainly(error)
        else:
            house.plan, house.chosen, house.planned_for = plan, chosen, house.class_name
            return go(request, "/live")
    if house.class_name not in names:
        house.class_name = names[0] if names else ""
    return page(
        request,
        "plan.html",
        400 if trouble else 200,
        trouble=trouble,
        plan=plan,
        ways=Way,
        chosen=chosen,
        steps=house.syllabus.steps,
        voices=await house.voices(),
        class_name=house.class_name,
        pupils=await house.records.do(pupils, house.class_name),
        most={"sums": MAX_SUMS, "terms": MAX_TERMS, "pace": PACES},
    )


@teachers
async def sample(request: Request) -> Response:
    """One sum as the plan would have it: to look at, to listen to, and how many there are."""
    house = house_of(request)
    try:
        plan = read_plan(request.query_params, house.syllabus)
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
    house = house_of(request)
    try:
        plan = read_plan(request.query_params, house.syllabus)
        terms = Sum.parse(request.query_params.get("sum", "")[:200])
        reader = await asyncio.to_thread(house.tools.reader, plan.voice, plan.pace_s)
        dictation = await asyncio.to_thread(reader.dictation, Turn("", terms))
    except OralquizError as error:
        return JSONResponse({"trouble": plainly(error)}, 400)
    out = io.BytesIO()
    soundfile.write(out, dictation.samples, SESSION_RATE, "PCM_16", format="WAV")
    return Response(out.getvalue(), media_type="audio/wav")


@teachers
async def live_page(request: Request) -> Response:
    house = house_of(request)
    if house.plan is None:
        return go(request, "/plan")
    plan = house.plan
    step = house.syllabus.step(plan.step)
    chosen = [p for p in await house.records.do(pupils) if p.id in house.chosen]
    code = house.codes.open_for(house.round_class)
    return page(request, "live.html", plan=plan, step=step, chosen=chosen, ways=Way, code=code)


@teachers
async def wall_page(request: Request) -> Response:
    house = house_of(request)
    code = house.codes.open_for(house.class_name)
    return page(
        request,
        "wall.html",
        code=code,
        qr=qr(join_url(house, request, code)) if code else "",
        join_url=join_url(house, request, code).split("?")[0] if code else "",
    )


async def about(request: Request) -> Response:
    """The cautions, for everyone; the passphrase, for the teacher."""
    house = house_of(request)
    here = await who(request)
    return page(
        request,
        "about.html",
        teacher=here.teacher,
        pupil=here.pupil,
        fingerprint=house.fingerprint,
    )
