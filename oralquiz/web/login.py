"""Signing in and out: the teacher by passphrase, pupils by code."""

from __future__ import annotations

import asyncio

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from oralquiz.records import Pupil, clean_name, pupils
from oralquiz.web.attempt_limits import Purpose
from oralquiz.web.identity import (
    classroom_of,
    end_visit,
    enter_home,
    enter_pupil,
    enter_teacher,
    from_this_computer,
    who,
)
from oralquiz.web.pages import form_of, go, page

TRY_LATER = "Too many attempts. Wait a few minutes."


async def home(request: Request) -> Response:
    here = await who(request)
    if here.teacher:
        return RedirectResponse("/class", 303)
    if here.pupil is not None or "card" in request.session:  # it also says that a card has ended
        return RedirectResponse("/me", 303)
    return RedirectResponse("/join", 303)


def _may_try(request: Request, purpose: Purpose) -> bool:
    attempts, own = classroom_of(request).attempts, from_this_computer(request)
    return attempts.may_try(purpose, _where(request), own=own)


def _came_in(request: Request, purpose: Purpose) -> None:
    attempts, own = classroom_of(request).attempts, from_this_computer(request)
    attempts.came_in(purpose, _where(request), own=own)


def _where(request: Request) -> str:
    return request.client.host if request.client else "?"


async def enter(request: Request) -> Response:
    """The teacher signs in."""
    classroom = classroom_of(request)
    if (await who(request)).teacher:
        return RedirectResponse("/class", 303)
    if request.method == "GET":
        return page(request, "enter.html")
    if not _may_try(request, Purpose.PASSPHRASE):
        return page(request, "enter.html", 429, trouble=TRY_LATER)
    passphrase = (await form_of(request)).get("passphrase", "")
    async with classroom.checking:  # each check takes memory and time on purpose: one at a time
        fits = await asyncio.to_thread(
            classroom.passphrases.fits, classroom.keys.passphrase, passphrase
        )
    if not fits:
        return page(request, "enter.html", 403, trouble="That is not the passphrase.")
    _came_in(request, Purpose.PASSPHRASE)
    enter_teacher(request)
    return RedirectResponse("/class", 303)


async def leave(request: Request) -> Response:
    """Sign out, in every page and with every copy of the cookie."""
    classroom, here = classroom_of(request), await who(request)
    visit = end_visit(request)
    if here.pupil is not None and here.home:
        classroom.roster.close_home(here.pupil, "you signed out")
    elif here.pupil is not None:
        classroom.roster.release(here.pupil)
    elif visit:
        classroom.publisher.lock_out(visit)
    return RedirectResponse("/", 303)


async def join(request: Request) -> Response:
    """A pupil signs in: with a code, and in class a name."""
    classroom = classroom_of(request)
    if request.method == "GET":
        code = request.query_params.get("code", "")[:12]
        return page(request, "join.html", code=code, name="", ask_name=True)
    form = await form_of(request)
    code, name = form.get("code", "")[:20], form.get("name", "")[:80]

    def again(trouble: str, status: int = 403) -> Response:
        return page(
            request, "join.html", status, code=code, name=name, ask_name=True, trouble=trouble
        )

    if not _may_try(request, Purpose.CODE):
        return again(TRY_LATER, 429)
    ticket = classroom.codes.open(code)
    if ticket is None:
        return again("This code does not open anything. Look at it again, or ask for a new one.")
    if ticket.pupil is not None:
        pupil = await classroom.pupil(ticket.pupil)
        if pupil is None or pupil.name != ticket.name:  # erased; the number may be given again
            return again("This code is no longer valid.")
        card = classroom.codes.card_of(pupil)
        if card is None:
            return again("This code is no longer valid.")
        _came_in(request, Purpose.CODE)
        enter_home(request, pupil, card[0], ticket.expires)
        return RedirectResponse("/me", 303)
    known = await classroom.records.do(pupils, ticket.class_name)
    pupil = _called(name, known)
    if pupil is None:
        return again("Nobody in this class is called that. Write your name as your teacher does.")
    place = classroom.roster.take_place(pupil)
    if place is None:
        return again("Somebody has joined with this name. Ask your teacher to free the place.")
    _came_in(request, Purpose.CODE)
    enter_pupil(request, pupil, place.mark)
    return RedirectResponse("/me", 303)


def _called(name: str, known: list[Pupil]) -> Pupil | None:
    """The pupil of that name, or of that first name if only one pupil has it."""
    wanted = clean_name(name).casefold()
    if not wanted:
        return None
    whole = [p for p in known if clean_name(p.name).casefold() == wanted]
    first = [p for p in known if clean_name(p.name).casefold().split()[0] == wanted]
    found = whole or first
    return found[0] if len(found) == 1 else None


async def lock(request: Request) -> Response:
    """Set a new passphrase. Every other browser of the teacher's has to sign in again."""
    classroom = classroom_of(request)
    form = await form_of(request)
    first, second = form.get("passphrase", ""), form.get("again", "")
    if first != second:
        return go(request, "/about", "The two passphrases differ: nothing was changed.")
    await asyncio.to_thread(classroom.keys.set_passphrase, first, classroom.passphrases)
    classroom.publisher.lock_out()
    enter_teacher(request)
    return go(request, "/about", "The passphrase is set.")
