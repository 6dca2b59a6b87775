"""What the tests of the pages do again and again: join, answer aloud, look at the round."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, Route, expect

from oralquiz.records.practice_sets import PracticeSet, give_set
from oralquiz.records.pupil_list import pupils
from oralquiz.web.class_round import ClassRound
from oralquiz.web.live_messages import JudgedAnswer, LiveRow
from oralquiz.web.live_view import live_answers, live_rows
from oralquiz.web.remote_round import RemoteRound
from tests.browser.running_server import RunningServer, Visitor, say

QUICK_SET = PracticeSet("direct", count=6, terms=3, pace_s=1.5, created="2026-01-05")
"""What is practised at home in these tests: short sums, quickly read."""


def on_loop(room: RunningServer, work: Any) -> Any:
    return asyncio.run_coroutine_threadsafe(work, room.loop).result(60)


def join(room: RunningServer, open_window: Callable[..., Visitor], name: str, **more: Any) -> Page:
    """A pupil's window, with the sound on."""

    async def code() -> str:
        for pupil in await room.classroom.records.do(pupils):
            if pupil.name == name:
                room.classroom.roster.release(pupil)
        return room.classroom.codes.for_class("3B")[0]

    page = open_window(f"{room.url}/join?code={on_loop(room, code())}", **more).page
    page.fill("#name", name)
    page.click("text=Join")
    page.click("#ready")
    expect(page.locator("#gate")).to_be_hidden()
    return page


def home_code(room: RunningServer, name: str) -> str:
    """The code on the card that a pupil takes home."""

    async def card() -> str:
        everyone = await room.classroom.records.do(pupils)
        await room.classroom.records.do(give_set, "3B", QUICK_SET)
        return room.classroom.codes.for_pupil(next(p for p in everyone if p.name == name))[0]

    code: str = on_loop(room, card())
    return code


def join_at_home(
    room: RunningServer, open_window: Callable[..., Visitor], name: str, **more: Any
) -> Page:
    """A pupil's window at home, opened by the card, before the sound is on."""
    page = open_window(f"{room.url}/join?code={home_code(room, name)}", **more).page
    page.click("text=Join")
    return page


def until(what: Callable[[], Any], seconds: float = 60) -> Any:
    """Wait for something that happens outside the pages."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = what()
        if found:
            return found
        time.sleep(0.1)
    raise AssertionError("it did not happen in time")


def was_said(page: Page, text: str) -> None:
    """Wait until the page has said ``text`` to the pupil, if only for a moment."""
    until(lambda: any(text in said for said in page.evaluate("said")))


def has_settled(page: Page) -> None:
    """Wait until the page has dealt with everything before this: a request of its own has come
    back, and two frames have been drawn."""
    page.evaluate(
        """async () => {
          await (await fetch("/static/icon.svg")).text();
          const frame = () => new Promise((done) => requestAnimationFrame(done));
          await frame();
          await frame();
        }"""
    )


def hold_back(page: Page, what: str) -> list[Route]:
    """Requests for ``what`` wait in the list that is returned, as on a slow network."""
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route(what, hold)
    return held


def rows(room: RunningServer, class_round: ClassRound) -> dict[str, LiveRow]:
    """Where each pupil is."""

    async def look() -> dict[str, LiveRow]:
        return live_rows(class_round)

    found: dict[str, LiveRow] = on_loop(room, look())
    return found


def answers(room: RunningServer, class_round: ClassRound) -> list[JudgedAnswer]:
    """What has been judged so far."""

    async def look() -> list[JudgedAnswer]:
        return live_answers(class_round)

    found: list[JudgedAnswer] = on_loop(room, look())
    return found


def remotes(class_round: ClassRound) -> list[RemoteRound]:
    """The rounds on the devices."""
    return [one.remote for one in class_round.participants.values()]


def next_round(room: RunningServer, before: ClassRound | None) -> ClassRound:
    """The class's next round after ``before``, as soon as there is one."""

    def found() -> ClassRound | None:
        now = room.classroom.class_round
        return now if now is not before else None

    begun: ClassRound = until(found)
    return begun


def right_value(room: RunningServer, class_round: ClassRound, name: str) -> int:
    right = rows(room, class_round)[name].right_value
    assert right is not None
    return right


def five_off(value: int) -> int:
    """A number that hands can show, five away."""
    return value - 5 if value >= 5 else value + 5


def hold(
    room: RunningServer, class_round: ClassRound, pages: dict[str, Page], mistaken: str = ""
) -> None:
    """Have the pupils answer aloud when their lamp is lit, until the end; one is always five
    off."""
    said: set[tuple[str, int, str]] = set()
    end = time.monotonic() + 120
    while class_round.phase != "over":
        assert time.monotonic() < end, rows(room, class_round)
        for voice, (name, page) in enumerate(pages.items()):
            row = rows(room, class_round)[name]
            phase = row.phase
            if phase in ("speak", "again") and (name, row.turn, phase) not in said:
                said.add((name, row.turn, phase))
                wait = 0.2 if phase == "speak" else 2.0  # the page asks first
                value = right_value(room, class_round, name)
                say(page, five_off(value) if name == mistaken else value, voice, wait)
        time.sleep(0.05)


async def open_code(room: RunningServer) -> None:
    """As before a round: the wall shows how to join."""
    room.classroom.codes.for_class("3B")
    room.classroom.class_name, room.classroom.conductor.class_round = "3B", None
