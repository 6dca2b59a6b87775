"""The live connections: pupils' devices, the computer at the front, the pages that watch."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from oralquiz.beads import Syllabus
from oralquiz.errors import OralquizError
from oralquiz.records import PracticeSet, Pupil, todays_set
from oralquiz.sound import BLOCK
from oralquiz.web.classroom import Classroom
from oralquiz.web.credentials import Limit
from oralquiz.web.device import BROKEN, REFUSED, SLOW, Connection, Device
from oralquiz.web.identity import classroom_of, who
from oralquiz.web.pages import plainly
from oralquiz.web.planning import Plan, read_plan
from oralquiz.web.protocol import ProtocolError, message, packet

PING_S = 4.0

BLOCKS = (4_000.0, 75.0)
"""Blocks at once (a minute and more after a break) and a second: half as many again as sound."""

MESSAGES = (60.0, 10.0)

Hear = Callable[[Mapping[str, Any]], Awaitable[None]]


async def _talk(
    socket: WebSocket, line: Connection, hear: Hear, device: Device | None = None
) -> None:
    """Hold one connection until either end is done with it."""
    blocks, messages = Limit(*BLOCKS), Limit(*MESSAGES)
    listening = asyncio.create_task(_listen(socket, line, hear, device, blocks, messages))
    speaking = asyncio.create_task(_speak(socket, line))
    pinging = asyncio.create_task(_ping(line, device))
    closing = asyncio.create_task(line.closed.wait())
    tasks = {listening, speaking, pinging, closing}
    try:
        await asyncio.wait({listening, speaking, closing}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    if line.closed.is_set():
        with contextlib.suppress(RuntimeError):  # the other end may be gone already
            await socket.close(line.code, line.why[:100])


async def _listen(
    socket: WebSocket,
    line: Connection,
    hear: Hear,
    device: Device | None,
    blocks: Limit,
    messages: Limit,
) -> None:
    try:
        while True:
            came = await socket.receive()
            if came["type"] != "websocket.receive":
                return
            if came.get("bytes") is not None:
                number, samples = packet(came["bytes"])
                if device is None:
                    raise ProtocolError("this page has no microphone")
                if not blocks.take("", len(samples) / BLOCK):
                    # this computer slept, and all that was on its way comes at once: the page
                    # connects again and sends what is wanted
                    line.close("more sound than a microphone makes", SLOW)
                    return
                if device.holds(line):  # else another page took it over while this was on its way
                    device.packet(number, samples)
            else:
                if not messages.take(""):
                    raise ProtocolError("too many messages")
                await hear(message(came["text"]))
    except ProtocolError as error:
        line.close(str(error), BROKEN)
    except (WebSocketDisconnect, RuntimeError):
        return


async def _speak(socket: WebSocket, line: Connection) -> None:
    try:
        while True:
            await socket.send_json(await line.out.get())
    except (WebSocketDisconnect, RuntimeError):
        return


async def _ping(line: Connection, device: Device | None) -> None:
    """Speak up now and then: a page that hears nothing takes its connection for gone."""
    while True:
        await asyncio.sleep(PING_S)
        if device is not None and device.holds(line):
            device.ping(time.monotonic())
        else:
            line.send({"t": "ping", "n": 0})  # nobody measures the way to a page that only watches


def _hear(device: Device, line: Connection, others: Hear) -> Hear:
    """Messages of a device's page: its own, and those that ``others`` takes."""

    async def hear(data: Mapping[str, Any]) -> None:
        if data["t"] not in ("practise", "do", "correct", "reveal"):
            device.hear(data, time.monotonic())
            return
        try:
            await others(data)
        except ProtocolError:
            raise
        except OralquizError as error:
            line.send({"t": "note", "text": plainly(error)})

    return hear


async def pupil_socket(socket: WebSocket) -> None:
    """A pupil's page."""
    classroom, here = classroom_of(socket), await who(socket)
    if here.pupil is None:
        await _refuse(socket)
        return
    pupil = here.pupil

    async def others(data: Mapping[str, Any]) -> None:
        if data["t"] != "practise":
            raise ProtocolError("a pupil's page does not say that")
        if (await who(socket)).pupil is None:  # a page may stay open for longer than its card
            line.close("your card is not good any more", REFUSED)
            return
        await classroom.practise(await practice_plan(classroom, pupil, data), pupil)

    line, device = Connection(), classroom.device_of(pupil)
    await socket.accept()
    device.attach(line)
    device.home = here.home
    device.ping(time.monotonic())
    try:
        await _talk(socket, line, _hear(device, line, others), device)
    finally:
        device.detach(line)


async def practice_plan(classroom: Classroom, pupil: Pupil, data: Mapping[str, Any]) -> Plan:
    """Today's set with the pace and the number of sums that the pupil chose."""
    syllabus = classroom.syllabus
    today = await set_of(classroom, pupil, syllabus)
    wanted = {
        "step": today.step,
        "terms": today.terms,
        "count": data["count"],
        "pace": data["pace_s"],
        "way": "own",
    }
    return read_plan(wanted, syllabus)


async def set_of(classroom: Classroom, pupil: Pupil, syllabus: Syllabus) -> PracticeSet:
    """The set of the pupil's class, or the course's first step."""
    today = await classroom.records.do(todays_set, pupil.class_name)
    return today or PracticeSet(syllabus.steps[0].name)


async def teacher_socket(socket: WebSocket) -> None:
    """A teacher's page: it watches and commands. One of them is the device at the front: the one
    whose “Sound on” was pressed last, or the first that is there."""
    classroom, here = classroom_of(socket), await who(socket)
    if not here.teacher:
        await _refuse(socket)
        return

    async def others(data: Mapping[str, Any]) -> None:
        if data["t"] == "practise":
            raise ProtocolError("the teacher's page does not say that")
        await _teach(classroom, data)

    line = Connection()
    as_front = _hear(classroom.front, line, others)

    async def hear(data: Mapping[str, Any]) -> None:
        kind = data["t"]
        if kind == "ready":  # the button; a page that was set aside does not say it by itself
            classroom.front.take_over(line)
        elif kind == "hello" and not classroom.front.online:
            classroom.front.attach(line)
            classroom.front.ping(time.monotonic())
        elif kind == "hello" and not classroom.front.holds(line):
            line.send({"t": "aside"})
        if kind in ("practise", "do", "correct", "reveal") or classroom.front.holds(line):
            await as_front(data)

    await socket.accept()
    classroom.watch(line, wall=False)
    try:
        await _talk(socket, line, hear, classroom.front)
    finally:
        classroom.unwatch(line)
        classroom.front.detach(line)


async def _teach(classroom: Classroom, data: Mapping[str, Any]) -> None:
    if data["t"] == "do" and data["name"] == "begin":
        await classroom.begin()
        return
    lesson = classroom.lesson
    if lesson is None:
        return
    if data["t"] == "do":
        lesson.do(data["name"], data.get("pupil") or "")
    elif data["t"] == "correct":
        await classroom.correct(lesson, data["number"], data["verdict"], data.get("value"))
    else:
        lesson.revealed = data["on"]
        classroom.changed()


async def wall_socket(socket: WebSocket) -> None:
    """The projector's page: it only watches; showing the answer is asked for here or there."""
    classroom, here = classroom_of(socket), await who(socket)
    if not here.teacher:
        await _refuse(socket)
        return
    line = Connection()
    await socket.accept()
    classroom.watch(line, wall=True)

    async def hear(data: Mapping[str, Any]) -> None:
        if data["t"] != "reveal":
            raise ProtocolError("the wall only shows")
        await _teach(classroom, data)

    try:
        await _talk(socket, line, hear)
    finally:
        classroom.unwatch(line)


async def _refuse(socket: WebSocket) -> None:
    await socket.accept()  # so that the page is told why
    await socket.close(REFUSED, "come in first")
