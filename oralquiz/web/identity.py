"""Whose page this is: read from the signed cookie, checked against what is true now."""

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
    """A teacher, a pupil, or nobody yet. ``home``: the pupil came with a card of their own."""

    teacher: bool = False
    pupil: Pupil | None = None
    home: bool = False


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
    classroom, session, now = classroom_of(connection), connection.session, time.time()
    if session.get("until", 0) > now and "pupil" in session:
        pupil = await classroom.pupil(session["pupil"])
        # a number may be given anew after erasing; the name then differs
        if pupil is not None and pupil.name == session.get("name"):
            card, claim = classroom.codes.card_of(pupil), classroom.claims.get(pupil.id)
            if card is not None and card[0] == session.get("card"):
                return Who(pupil=pupil, home=True)
            if claim is not None and claim == session.get("claim"):
                return Who(pupil=pupil)
    if session.get("until", 0) > now and session.get("teacher") == classroom.keys.epoch:
        return Who(teacher=True)
    # without a passphrase whoever sits at this computer is the teacher, as with any program here
    open_classroom = not classroom.keys.passphrase and from_this_computer(connection)
    return Who(teacher=open_classroom and "pupil" not in session)


def enter_teacher(connection: HTTPConnection) -> None:
    connection.session.clear()
    connection.session.update(
        teacher=classroom_of(connection).keys.epoch, until=time.time() + TEACHER_STAYS_S
    )


def enter_pupil(connection: HTTPConnection, pupil: Pupil, claim: str) -> None:
    """``claim`` is the place in class."""
    until = time.time() + PUPIL_STAYS_S
    connection.session.clear()
    connection.session.update(pupil=pupil.id, name=pupil.name, until=until, claim=claim)


def enter_home(connection: HTTPConnection, pupil: Pupil, card: str, expires: float) -> None:
    """With the code of a pupil's own ``card``, for as long as it is good."""
    connection.session.clear()
    connection.session.update(pupil=pupil.id, name=pupil.name, until=expires, card=card)
