"""Finished rounds: the list, one round with its answers to correct, its replay."""

from __future__ import annotations

import asyncio
import hashlib
import re
from pathlib import Path

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from oralquiz.errors import BadInput, OralquizError
from oralquiz.judge import Verdict
from oralquiz.records import Pupil, file_of, held
from oralquiz.replay import build_page
from oralquiz.rounds import Answered
from oralquiz.session import Session, open_session
from oralquiz.sound import SESSION_RATE, Pcm, Samples, wav_bytes
from oralquiz.web.identity import classroom_of, sees, visit_of, who
from oralquiz.web.pages import (
    asset,
    form_of,
    go,
    page,
    plainly,
    pupils_only,
    teachers,
    whole_number,
)
from oralquiz.web.recent_audio import AROUND_S

ROUNDS = 60
"""Rounds on one page of results; a class with twenty tablets makes twenty at once."""

ASK_FIRST = "Earlier rounds open with your own card, or when your teacher says yes."


async def _session(request: Request, pupil: Pupil | None = None) -> tuple[Path, Session]:
    classroom, round_id = classroom_of(request), request.path_params["round"]
    file = await classroom.records.do(file_of, round_id, pupil.id if pupil else None)
    return file, await asyncio.to_thread(open_session, file)


@teachers
async def results(request: Request) -> Response:
    skip = whole_number(request.query_params.get("skip", "")) or 0
    rounds = await classroom_of(request).records.do(held, limit=ROUNDS + 1, skip=skip)
    return page(
        request,
        "results.html",
        rounds=rounds[:ROUNDS],
        newer=max(0, skip - ROUNDS) if skip else None,
        older=skip + ROUNDS if len(rounds) > ROUNDS else None,
    )


@teachers
async def result(request: Request) -> Response:
    try:
        _, session = await _session(request)
    except OralquizError as error:
        return go(request, "/results", plainly(error))
    return page(
        request,
        "result.html",
        session=session,
        id=request.path_params["round"],
        turns=[(turn, has_sound(session, turn)) for turn in session.turns],
    )


def has_sound(session: Session, turn: Answered) -> bool:
    """Whether the voice of ``turn`` was kept."""
    return turn.consent and any(
        a.onset is not None and a.offset is not None and a.offset <= len(session.audio)
        for a in turn.attempts
    )


@teachers
async def correct(request: Request) -> Response:
    """The teacher's verdict, by ear, on one answer of a finished round."""
    classroom, form = classroom_of(request), await form_of(request)
    round_id = request.path_params["round"]
    typed = form.get("value", "").strip()
    value, turn = whole_number(typed), whole_number(form.get("turn", ""))
    try:
        if form.get("verdict") not in [v.value for v in Verdict]:
            raise BadInput("choose a verdict")
        if typed and value is None:
            raise BadInput("what was heard is a number")
        file = await classroom.records.do(file_of, round_id)
        await classroom.bookkeeper.correct_file(
            file,
            -1 if turn is None else turn,
            Verdict(form["verdict"]),
            value,
        )
    except OralquizError as error:
        return go(request, f"/results/{round_id}", plainly(error))
    return go(request, f"/results/{round_id}", "Noted. The earlier verdict stays in the record.")


@teachers
async def answer_sound(request: Request) -> Response:
    """The answers of one turn as they were heard, as a WAV file."""
    try:
        _, session = await _session(request)
    except OralquizError as error:
        return JSONResponse({"trouble": plainly(error)}, 404)
    turn = next((t for t in session.turns if t.index == request.path_params["turn"]), None)
    if turn is None or not has_sound(session, turn):
        return JSONResponse({"trouble": "This voice was not kept."}, 404)
    around = round(AROUND_S * session.sample_rate)
    spans = [
        (max(0, a.onset - around), a.offset + around)
        for a in turn.attempts
        if a.onset is not None and a.offset is not None
    ]
    heard = session.audio[min(s for s, _ in spans) : max(e for _, e in spans), 1]
    return _wav(heard, session.sample_rate)


@teachers
async def live_sound(request: Request) -> Response:
    """An answer of the round that is being held, as a WAV file."""
    held, sound = classroom_of(request).class_round, None
    if held is not None and held.key == request.path_params["round"]:
        sound = held.voice(request.path_params["number"])
    if sound is None:
        return JSONResponse({"trouble": "This voice was not kept."}, 404)
    return _wav(sound, SESSION_RATE)


def _wav(samples: Samples | Pcm, rate: int) -> Response:
    return Response(wav_bytes(samples, rate), media_type="audio/wav")


# --- replay ---------------------------------------------------------------------------------


_PARTS: dict[str, str] = {}
"""Styles and scripts taken out of replay pages, by file name; the same few for every page."""


def linked(html: str, back: str, label: str) -> str:
    """A replay page whose styles and scripts are files of this server, with a way back.

    The page is made to stand alone, with both inside it; here the policy allows nothing inline.
    """

    def out(text: str, ending: str) -> str:
        name = hashlib.sha256(text.encode()).hexdigest()[:16] + ending
        _PARTS[name] = text
        return f"/replay/{name}"

    def style(found: re.Match[str]) -> str:
        text = found[1] + asset("oralquiz.web", "static", "way-back.css")
        return f'<link rel="stylesheet" href="{out(text, ".css")}">'

    def script(found: re.Match[str]) -> str:
        return f'<script type="module" src="{out(found[1], ".js")}"></script>'

    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>\n?', "", html, count=1)
    html = re.sub(r"<style>(.*?)</style>", style, html, flags=re.DOTALL)
    html = re.sub(r'<script type="module">(.*?)</script>', script, html, flags=re.DOTALL)
    return re.sub(
        r"(<body[^>]*>)",
        rf'\1\n<p class="way-back"><a href="{back}">{label}</a></p>',
        html,
        count=1,
    )


async def replay_part(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _PARTS:
        return JSONResponse({"trouble": "There is no such part."}, 404)
    kind = "text/css" if name.endswith(".css") else "text/javascript"
    return Response(_PARTS[name], media_type=kind)


@teachers
async def replay(request: Request) -> Response:
    """Every move of a round's sums, for the teacher."""
    only_wrong = request.query_params.get("only") == "wrong"
    try:
        _, session = await _session(request)
        html = await asyncio.to_thread(build_page, session, only_wrong=only_wrong)
    except OralquizError as error:
        return go(request, "/results", plainly(error))
    return HTMLResponse(linked(html, f"/results/{request.path_params['round']}", "Back to results"))


@pupils_only
async def own_replay(request: Request, pupil: Pupil) -> Response:
    """What went wrong for this pupil, and for nobody else."""
    classroom, here = classroom_of(request), await who(request)
    if not sees(classroom, here, visit_of(request), request.path_params["round"]):
        return go(request, "/me", ASK_FIRST)
    try:
        _, session = await _session(request, pupil)
        html = await asyncio.to_thread(build_page, session, pupil=pupil.name, only_wrong=True)
    except OralquizError as error:
        return go(request, "/me", plainly(error))
    return HTMLResponse(linked(html, "/me", "Back"))
