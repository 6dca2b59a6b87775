"""The live connections: pupils' devices, the computer at the front, the pages that watch."""

from __future__ import annotations

import asyncio

from starlette.websockets import WebSocket

from oralquiz.errors import BadInput
from oralquiz.records import PracticeSet, Pupil, follow, todays_set
from oralquiz.rounds import RoundPlan, Way
from oralquiz.solo import PracticeRound
from oralquiz.web.classroom import Classroom
from oralquiz.web.connection import REFUSED, Connection
from oralquiz.web.conversation import Conversation
from oralquiz.web.device_messages import Aside
from oralquiz.web.identity import classroom_of, visit_of, who
from oralquiz.web.plan_form import MAX_SUMS
from oralquiz.web.protocol import (
    Allow,
    Correct,
    Do,
    FromPage,
    FromTeacher,
    Hello,
    Practise,
    ProtocolError,
    Ready,
    Reveal,
)


async def pupil_socket(socket: WebSocket) -> None:
    """A pupil's page."""
    classroom, here = classroom_of(socket), await who(socket)
    if here.pupil is None:
        await _refuse(socket)
        return
    pupil = here.pupil
    connection, device = Connection(visit_of(socket)), classroom.roster.device_of(pupil)
    if device.running is not None and not here.home and device.visit != connection.visit:
        await _refuse(socket, "this name is practising on another device")
        return

    async def hear(said: FromPage) -> None:
        match said:
            case Practise():
                await practise(said)
            case Do() | Correct() | Reveal() | Allow():
                raise ProtocolError("a pupil's page does not say that")
            case _:
                device.hear(said, classroom.now())

    async def practise(wish: Practise) -> None:
        if (await who(socket)).pupil is None:  # a page may stay open for longer than its card
            connection.close("your card is no longer valid", REFUSED)
            return
        chosen = await choose_practice(classroom, pupil, wish)
        await classroom.conductor.practise(practice_plan(chosen), pupil, chosen)

    await socket.accept()
    device.attach(connection)
    device.home = here.home
    device.ping(classroom.now())
    try:
        await Conversation(socket, connection, hear, device).hold()
    finally:
        device.detach(connection)


async def choose_practice(classroom: Classroom, pupil: Pupil, wish: Practise) -> PracticeRound:
    """Sums that suit the pupil, with what the pupil asked for. Raises BadInput."""
    if not 1 <= wish.count <= MAX_SUMS:
        raise BadInput(f"a round has 1 to {MAX_SUMS} sums, not {wish.count}")
    learner = await classroom.records.apart(follow, pupil, classroom.syllabus)
    if wish.rule:
        learner.practice.ask_for(wish.rule)
    if wish.slower:
        learner.practice.slower()
    return await asyncio.to_thread(PracticeRound, learner.practice, pupil, learner.step, wish.count)


def practice_plan(chosen: PracticeRound) -> RoundPlan:
    """How a round of ``chosen`` sums is held."""
    return RoundPlan(chosen.round.step, Way.OWN, len(chosen.round.turns), pace_s=chosen.pace_s())


async def set_of(classroom: Classroom, pupil: Pupil) -> PracticeSet:
    """The set of the pupil's class, or the course's first step."""
    today = await classroom.records.do(todays_set, pupil.class_name)
    return today or PracticeSet(classroom.syllabus.steps[0].name)


async def teacher_socket(socket: WebSocket) -> None:
    """A teacher's page: it watches and commands. One of them is the device at the front: the one
    whose “Sound on” was pressed last, or the first that is there."""
    classroom, here = classroom_of(socket), await who(socket)
    if not here.teacher:
        await _refuse(socket)
        return
    connection, front = Connection(visit_of(socket)), classroom.roster.front

    async def hear(said: FromPage) -> None:
        match said:
            case Do() | Correct() | Reveal() | Allow():
                await _teach(classroom, said)
                return
            case Practise():
                raise ProtocolError("the teacher's page does not say that")
            case Ready():  # the button; a page that was set aside does not say it by itself
                front.take_over(connection)
            case Hello() if not front.online:
                front.attach(connection)
                front.ping(classroom.now())
            case _:
                pass
        if front.holds(connection):
            front.hear(said, classroom.now())
        elif isinstance(said, Hello):
            connection.send(Aside())

    await socket.accept()
    classroom.publisher.watch(connection, wall=False)
    try:
        await Conversation(socket, connection, hear, front).hold()
    finally:
        classroom.publisher.unwatch(connection)
        front.detach(connection)


async def _teach(classroom: Classroom, said: FromTeacher) -> None:
    if isinstance(said, Do) and said.name == "begin":
        await classroom.begin()
        return
    if isinstance(said, Allow):
        classroom.roster.answer(said.asking, yes=said.yes)
        return
    class_round = classroom.class_round
    if class_round is None:
        return
    match said:
        case Do(name, pupil):
            class_round.do(name, pupil or "")
        case Correct(number, verdict, value):
            await classroom.bookkeeper.correct(class_round, number, verdict, value)
        case Reveal(on):
            class_round.reveal(on)


async def wall_socket(socket: WebSocket) -> None:
    """The projector's page: it only watches; showing the answer is asked for here or there."""
    classroom, here = classroom_of(socket), await who(socket)
    if not here.teacher:
        await _refuse(socket)
        return
    connection = Connection(visit_of(socket))

    async def hear(said: FromPage) -> None:
        if not isinstance(said, Reveal):
            raise ProtocolError("the wall only shows")
        await _teach(classroom, said)

    await socket.accept()
    classroom.publisher.watch(connection, wall=True)
    try:
        await Conversation(socket, connection, hear).hold()
    finally:
        classroom.publisher.unwatch(connection)


async def _refuse(socket: WebSocket, why: str = "sign in first") -> None:
    await socket.accept()  # so that the page is told why
    await socket.close(REFUSED, why)
