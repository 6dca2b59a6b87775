"""Whose page this is: read from the signed cookie, checked against the present state."""

from __future__ import annotations

import ipaddress
import time
from dataclasses import dataclass

from starlette.requests import HTTPConnection

from oralquiz.records import Pupil
from oralquiz.web.classroom import Classroom

TEACHER_STAYS_S = 12 * 3600.0
PUPIL_STAYS_S = 6 * 3600.0


@dataclass(frozen=True)
class Who:
    """A teacher, a pupil, or nobody yet. ``home``: the pupil came with a card of their own.
    ``earlier``: the page may show what was recorded before; whoever came with the code of the
    class and a name may be anybody in the class."""

    teacher: bool = False
    pupil: Pupil | None = None
    home: bool = False
    earlier: bool = False


def classroom_of(connection: HTTPConnection) -> Classroom:
    classroom: Classroom = connection.app.state.classroom
    return classroom


def from_this_computer(connection: HTTPConnection) -> bool:
    try:
        return connection.client is not None and (
            ipaddress.ip_address(connection.client.host).is_loopback
        )
    except ValueError:
        return False


async def who(connection: HTTPConnection) -> Who:
    """Whose page this is now."""
    classroom, session = classroom_of(connection), connection.session
    visit = session.get("visit", "")
    lasts = (
        visit and session.get("until", 0) > time.time() and not classroom.visits.has_ended(visit)
    )
    if lasts and "pupil" in session:
        pupil = await classroom.pupil(session["pupil"])
        # a number may be given again after erasing; the name then differs
        if pupil is not None and pupil.name == session.get("name"):
            card, place = classroom.codes.card_of(pupil), classroom.roster.places.get(pupil.id)
            if card is not None and card[0] == session.get("card"):
                return Who(pupil=pupil, home=True, earlier=True)
            if place is not None and place.mark == session.get("place"):
                return Who(pupil=pupil, earlier=place.allowed)
    if lasts and session.get("teacher") == classroom.keys.epoch:
        return Who(teacher=True)
    # without a passphrase whoever sits at this computer is the teacher, as with any program here
    open_classroom = not classroom.keys.passphrase and from_this_computer(connection)
    return Who(teacher=open_classroom and "pupil" not in session)


def sees(classroom: Classroom, here: Who, visit: str, round_id: str) -> bool:
    """Whether a pupil's page may show that pupil's part of a recorded round: one that was held
    before only with ``earlier``, one of this very visit in any case."""
    if here.pupil is None:
        return False
    device = classroom.roster.device_of(here.pupil)
    return here.earlier or (device.visit == visit and round_id in device.held)


def visit_of(connection: HTTPConnection) -> str:
    """The mark of the visit that the cookie is for; empty when nobody signed in."""
    return str(connection.session.get("visit", ""))


def end_visit(connection: HTTPConnection) -> str:
    """Sign out here and with every copy of this cookie. Returns the visit."""
    visit, session = visit_of(connection), connection.session
    if visit:
        classroom_of(connection).visits.end(visit, float(session.get("until", 0)))
    session.clear()
    return visit


def enter_teacher(connection: HTTPConnection) -> None:
    epoch = classroom_of(connection).keys.epoch
    _begin(connection, time.time() + TEACHER_STAYS_S, teacher=epoch)


def enter_pupil(connection: HTTPConnection, pupil: Pupil, place: str) -> None:
    """``place`` is the mark of the place in class."""
    until = time.time() + PUPIL_STAYS_S
    _begin(connection, until, pupil=pupil.id, name=pupil.name, place=place)


def enter_home(connection: HTTPConnection, pupil: Pupil, card: str, expires: float) -> None:
    """With the code of a pupil's own ``card``, for as long as it is good."""
    _begin(connection, expires, pupil=pupil.id, name=pupil.name, card=card)


def _begin(connection: HTTPConnection, until: float, **marks: str | int) -> None:
    """A new visit that lasts ``until`` then (seconds since the epoch)."""
    connection.session.clear()
    visit = classroom_of(connection).visits.begin()
    connection.session.update(visit=visit, until=until, **marks)
