"""The web app in a real browser: a class round, practice, a broken connection, access for all.

The pupils' microphones are fed with a synthetic voice when the lamp is lit; the recogniser, the
judge, the recorder and the records are the real ones.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route, expect

from oralquiz.records.pupil_list import add_pupil, pupils
from oralquiz.rounds.events import Commanded
from oralquiz.rounds.planning import RoundPlan, Way
from oralquiz.session.file import open_session
from oralquiz.session.reruns import rerun
from oralquiz.web.class_round import ClassRound
from oralquiz.web.live_messages import JudgedAnswer, LiveRow
from oralquiz.web.live_view import live_answers, live_rows
from oralquiz.web.remote_round import RemoteRound
from tests.browser.running_server import Cable, RunningServer, Visitor, run_server, say, visit

expect.set_options(timeout=20_000)  # a machine that runs tests is busy

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningServer]:
    server = run_server(tmp_path_factory.mktemp("class"))

    async def fill() -> None:
        classroom = server.classroom
        classroom.class_name = "3B"
        for name in ("Asha Rao", "Ben Okoro"):
            await classroom.records.do(
                add_pupil, name, created="2026-01-05T09:00:00+00:00", class_name="3B", consent=True
            )
        await classroom.assembly.recognizer()  # loaded before the first round, not in it

    on_loop(server, fill())
    yield server
    server.stop()


def on_loop(room: RunningServer, work: Any) -> Any:
    return asyncio.run_coroutine_threadsafe(work, room.loop).result(60)


@pytest.fixture
def visitors(browser: Browser) -> Iterator[Callable[..., Visitor]]:
    """Opens windows; afterwards none of them may have had anything to complain about."""
    opened: list[Visitor] = []

    def open_window(url: str, **more: Any) -> Visitor:
        opened.append(visit(browser, url, **more))
        return opened[-1]

    yield open_window
    complaints = [c for visitor in opened for c in visitor.complaints]
    for visitor in opened:
        visitor.context.close()
    assert complaints == []


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
        return room.classroom.codes.for_pupil(next(p for p in everyone if p.name == name))[0]

    code: str = on_loop(room, card())
    return code


def until(what: Callable[[], Any], seconds: float = 60) -> Any:
    """Wait for something outside the pages."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = what()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError("it did not happen in time")


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
    """What was judged so far."""

    async def look() -> list[JudgedAnswer]:
        return live_answers(class_round)

    found: list[JudgedAnswer] = on_loop(room, look())
    return found


def remotes(class_round: ClassRound) -> list[RemoteRound]:
    """The rounds on the devices."""
    return [one.remote for one in class_round.participants.values()]


def next_round(room: RunningServer, before: ClassRound | None) -> ClassRound:
    """The round that is held in class after ``before``, as soon as there is one."""

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
    """A number that hands can show, a five away."""
    return value - 5 if value >= 5 else value + 5


def hold(
    room: RunningServer, class_round: ClassRound, pages: dict[str, Page], mistaken: str = ""
) -> None:
    """Have the pupils answer aloud when their lamp is lit, to the end; one is always five off."""
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


def test_a_class_round_from_the_plan_to_the_replay(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    asha = join(room, visitors, "Asha Rao", viewport={"width": 820, "height": 1180})
    ben = join(room, visitors, "Ben Okoro", viewport={"width": 390, "height": 844})
    teacher = visitors(f"{room.url}/plan", microphone=False).page
    teacher.fill("#count", "2")
    teacher.fill("#terms", "2")
    teacher.fill("#pace", "1.5")
    teacher.click("#listen")
    expect(teacher.locator("#sample")).to_contain_text("such sums")
    teacher.click("text=To the round")
    expect(teacher.locator("#here li")).to_have_count(2)
    wall = visitors(f"{room.url}/wall", microphone=False).page

    teacher.click("#begin")
    expect(asha.locator("#say")).to_have_text("Listen")
    class_round = room.classroom.class_round
    assert class_round is not None
    expect(teacher.locator("#rows .saying").first).to_be_visible(timeout=30_000)
    expect(wall.locator("#where")).to_have_text("Sum 1 of 2")
    hold(room, class_round, {"Asha Rao": asha, "Ben Okoro": ben}, mistaken="Ben Okoro")

    judged = {(a.pupil, a.turn): a for a in answers(room, class_round)}
    assert len(judged) == 4
    for (name, _), answer in judged.items():
        off = name == "Ben Okoro"
        assert answer.value == (five_off if off else int)(answer.right_value), answer
        assert answer.verdict in ("wrong" if off else "right", "unclear")
    expect(wall.locator("#answer")).to_be_hidden()
    assert wall.locator("#answer").text_content() == ""
    expect(asha.locator("#say")).to_have_text("Well done! The round is over.")
    expect(ben.locator("#look")).to_be_visible(timeout=10_000)

    # the teacher's ear: one key, the voice, one key
    teacher.keyboard.press("c")
    expect(teacher.locator("#ear")).to_be_visible()
    expect(teacher.locator("#ear-sound")).to_be_visible()
    teacher.keyboard.press("4")
    expect(teacher.locator("#ear")).to_be_hidden()
    expect(teacher.locator("#answers")).to_contain_text("corrected by you")

    # nothing lost on the way, and the files run again to the same bytes
    for run in remotes(class_round):
        assert (run.stream.blocks.lost, run.stream.blocks.doubled) == (0, 0)
        file = until(lambda run=run: run.file)  # type: ignore[misc]
        assert rerun(open_session(file)).difference == ""

    # the pupil looks at what went wrong, step by step
    ben.click("#look")
    expect(ben.locator("#player")).to_be_visible()
    before = ben.inner_text("#player .words")
    ben.click("#next")
    ben.click("#next")
    assert ben.inner_text("#player .words") != before
    ben.click("text=Back")
    expect(ben.locator("#ready")).to_be_enabled()


def test_the_room_hears_this_computer_and_tablets_only_listen(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    asha = join(room, visitors, "Asha Rao")
    room.classroom.plan = RoundPlan("direct", Way.ROOM, count=1, terms=2, pace_s=1.5)
    room.classroom.chosen = frozenset()
    teacher = visitors(f"{room.url}/live", microphone=False).page
    teacher.click("#sound")
    expect(teacher.locator("#sound")).to_have_text("Sound is on")
    before = room.classroom.class_round
    teacher.click("#begin")
    class_round = next_round(room, before)
    hold(room, class_round, {"Asha Rao": asha})
    assert [(a.value, a.verdict) for a in answers(room, class_round)] in (
        [(answers(room, class_round)[0].right_value, "right")],
        [(answers(room, class_round)[0].right_value, "unclear")],
    )


def test_practice_at_home_without_a_microphone(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}", microphone=False).page
    page.click("text=Join")
    page.click("summary:has-text('Settings')")
    page.uncheck("#microphone")
    page.select_option("#stretch", "10")
    page.click("summary:has-text('Settings')")
    page.click("#ready")
    page.select_option("#count", "3")
    page.select_option("#pace", "1.5")
    page.click("#go")
    expect(page.locator("#say")).to_have_text("Listen")
    (class_round,) = [
        x for x in room.classroom.conductor.practices.values() if x.phase == "running"
    ]
    run = remotes(class_round)[0]
    assert run.options.answer_within_s == 80.0
    # while the sum is read the pad is not for answers yet
    expect(page.locator("#send")).to_be_disabled()
    page.keyboard.type("7")
    expect(page.locator("#typed")).to_have_value("")
    # tapped, typed, and one left out
    expect(page.locator("#say")).to_have_text("Your turn")
    for digit in str(run.round.turns[0].sum.answer):
        page.click(f"[data-digit='{digit}']")
    page.click("#send")
    expect(page.locator("#say")).to_have_text(f"{run.round.turns[0].sum.answer}. Right!")
    expect(page.locator("#place")).to_have_text("2 of 3")
    expect(page.locator("#say")).to_have_text("Your turn")
    page.keyboard.type(str(run.round.turns[1].sum.answer + 1))
    page.keyboard.press("Enter")
    expect(page.locator("#more")).to_contain_text("Not this time")
    expect(page.locator("#place")).to_have_text("3 of 3")
    page.click("[data-command=pause]")
    expect(page.locator("#say")).to_have_text("Paused")
    page.click("[data-command=resume]")
    expect(page.locator("#say")).to_have_text("Listen")
    # as if the break were due: it is proposed, and goes away on its button
    page.evaluate("document.getElementById('stage').dataset.break = '0'")
    page.click("[data-command=skip]")
    expect(page.locator("#say")).to_have_text("Well done! The round is over.")
    expect(page.locator("#rest")).to_be_visible()
    page.click("#rested")
    expect(page.locator("#rest")).to_be_hidden()
    expect(page.locator("#more")).to_have_text("1 of 2 right.")
    page.click("#look")
    expect(page.locator("#player")).to_be_visible()


def test_nothing_can_be_set_before_the_page_listens(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    """A script that comes late must not undo what a quick pupil has chosen meanwhile."""
    page = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}", microphone=False).page
    held = hold_back(page, "**/static/me.js")
    page.click("text=Join")
    page.click("summary:has-text('Settings')")
    touchable = ["#ready", "#stretch", "#volume", "#microphone", "#go", "#chirp"]
    for control in touchable:
        expect(page.locator(control)).to_be_disabled()
    for route in held:
        route.continue_()
    for control in touchable[:-1]:
        expect(page.locator(control)).to_be_enabled()


def test_a_child_presses_everything_twice(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}").page
    page.click("text=Join")
    page.wait_for_selector("#ready:enabled")
    page.evaluate(
        """() => {
          window.microphones = 0;
          const ask = navigator.mediaDevices.getUserMedia;
          navigator.mediaDevices.getUserMedia = (what) => { microphones += 1; return ask(what); };
        }"""
    )
    page.evaluate(
        """() => {
          const button = document.getElementById("ready");
          button.click();
          button.disabled = false; // even if it were still alive
          button.click();
        }"""
    )
    expect(page.locator("#gate")).to_be_hidden()
    page.wait_for_timeout(200)
    expect(page.locator("#problem")).to_be_hidden()
    assert page.evaluate("microphones") == 1
    page.select_option("#count", "3")
    page.select_option("#pace", "1.5")
    page.dblclick("#go")
    expect(page.locator("#say")).to_have_text("Listen")
    expect(page.locator("#problem")).to_be_hidden()
    page.dblclick("[data-command=pause]")
    expect(page.locator("#say")).to_have_text("Paused")
    page.dblclick("[data-command=resume]")
    expect(page.locator("#say")).to_have_text("Listen")
    page.dblclick("[data-command=skip]")
    expect(page.locator("#place")).to_have_text("2 of 3")
    # a pause between two sums is seen, and can be ended
    page.click("[data-command=skip]")
    expect(page.locator("#say")).to_have_text("Here comes the next one.")
    page.click("[data-command=pause]")
    expect(page.locator("#say")).to_have_text("Paused")
    page.click("[data-command=resume]")
    expect(page.locator("#place")).to_have_text("3 of 3")
    page.dblclick("[data-command=stop]")
    expect(page.locator("#go")).to_be_enabled()
    expect(page.locator("#problem")).to_be_hidden()


def test_a_teacher_presses_begin_twice(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    asha = join(room, visitors, "Asha Rao")
    room.classroom.plan = RoundPlan("direct", Way.OWN, count=1, terms=2, pace_s=1.5)
    room.classroom.chosen = frozenset()
    before = room.classroom.class_round
    teacher = visitors(f"{room.url}/live", microphone=False).page
    expect(teacher.locator("#here li")).to_have_count(1)
    expect(teacher.locator("#begin")).to_be_enabled()
    teacher.evaluate(
        "document.getElementById('begin').click(); document.getElementById('begin').click()"
    )
    expect(asha.locator("#say")).to_have_text("Listen")
    class_round = next_round(room, before)
    expect(teacher.locator("#begin")).to_be_hidden()
    expect(teacher.locator("#trouble")).to_be_hidden()
    room.loop.call_soon_threadsafe(class_round.do, "stop")
    until(lambda: class_round.phase == "over")


def test_a_trouble_goes_with_the_next_thing_done(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    """A line of trouble is about what was done last: the next message that is sent clears it."""
    room.classroom.plan = RoundPlan("direct", Way.OWN, count=1, terms=2, pace_s=1.5)
    room.classroom.chosen = frozenset()
    teacher = visitors(f"{room.url}/live", microphone=False).page
    expect(teacher.locator("#nobody")).to_be_visible()
    teacher.click("#begin")
    expect(teacher.locator("#trouble")).to_have_text("Choose at least one pupil.")
    asha = join(room, visitors, "Asha Rao")
    expect(teacher.locator("#here li")).to_have_count(1)
    teacher.click("#begin")
    expect(asha.locator("#say")).to_have_text("Listen")
    expect(teacher.locator("#trouble")).to_be_hidden()
    class_round = room.classroom.class_round
    assert class_round is not None
    room.loop.call_soon_threadsafe(class_round.do, "stop")
    until(lambda: class_round.phase == "over")


def test_a_round_that_ends_before_a_slow_tablet_began(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}").page
    page.click("text=Join")
    page.click("#ready")
    expect(page.locator("#gate")).to_be_hidden()
    held = hold_back(page, "**/clip/**")
    with page.expect_request("**/clip/**"):
        page.click("#go")
    class_round = until(lambda: next(iter(room.classroom.conductor.practices.values()), None))
    room.loop.call_soon_threadsafe(class_round.do, "stop")
    expect(page.locator("#say")).to_have_text("The round is over.")
    for route in held:
        route.fulfill(body=bytes(2))
    page.wait_for_timeout(300)
    expect(page.locator("#go")).to_be_visible()


Typist = tuple[Visitor, Cable, Callable[[], RemoteRound]]


@pytest.fixture
def typist(room: RunningServer, visitors: Callable[..., Visitor]) -> Iterator[Typist]:
    """A pupil who types, ready for a practice of his own: window, cable, and what begins it."""
    url = f"{room.url}/join?code={home_code(room, 'Ben Okoro')}"
    visitor = visitors(url, microphone=False)
    page, cable = visitor.page, Cable(visitor.page)
    page.click("text=Join")
    page.click("summary:has-text('Settings')")
    page.uncheck("#microphone")
    page.select_option("#stretch", "0")
    page.click("summary:has-text('Settings')")
    page.click("#ready")
    page.select_option("#count", "3")
    page.select_option("#pace", "1.5")

    def begin() -> RemoteRound:
        page.click("#go")
        expect(page.locator("#say")).to_have_text("Listen")
        practices = room.classroom.conductor.practices.values()
        return remotes(next(one for one in practices if one.phase == "running"))[0]

    yield visitor, cable, begin
    if page.locator("[data-command=stop]").is_visible():
        page.click("[data-command=stop]")
    expect(page.locator("#say")).to_have_text("Well done! The round is over.")


def first_answer(run: RemoteRound) -> str:
    return str(run.round.turns[0].sum.answer)


@pytest.mark.parametrize("cut_at", ["#stones .said + .saying", "#lamp.lit"])
def test_a_typed_answer_waits_for_the_connection(typist: Typist, cut_at: str) -> None:
    """Cut while the sum is read, the page is the only one to know that it has sounded. Not at the
    first term: a sum that a busy machine could not start in time is read anew."""
    visitor, cable, begin = typist
    page = visitor.page
    answer = first_answer(begin())
    expect(page.locator(cut_at)).to_be_visible()
    cable.cut()
    expect(page.locator("#away")).to_be_visible()
    expect(page.locator("#say")).to_have_text("Your turn")
    page.keyboard.type("1")
    page.click("#send")
    expect(page.locator("#typed")).to_have_value("1")
    page.keyboard.type(answer)  # another answer, before anybody has heard of the first
    page.click("#send")
    expect(page.locator("#typed")).to_have_value(answer)
    cable.mend()
    expect(page.locator("#say")).to_have_text(f"{answer}. Right!")
    expect(page.locator("#away")).to_be_hidden()
    expect(page.locator("#typed")).to_have_value("")


def test_a_connection_that_is_gone_without_a_word(typist: Typist) -> None:
    visitor, cable, begin = typist
    page = visitor.page
    answer = first_answer(begin())
    expect(page.locator("#say")).to_have_text("Your turn")
    cable.deaden()
    for digit in answer:
        page.click(f"[data-digit='{digit}']")
    page.click("#send")
    expect(page.locator("#say")).to_have_text(f"{answer}. Right!")  # through another one


@pytest.mark.parametrize("cut", [False, True])
def test_a_sound_that_could_not_be_fetched_is_fetched_again(typist: Typist, cut: bool) -> None:
    """With the connection or without it: the sum is not passed over in silence."""
    visitor, cable, begin = typist
    page = visitor.page
    asked: list[Route] = []

    def fetch(route: Route) -> None:
        first_sum = not asked or route.request.url == asked[0].request.url
        if first_sum:
            asked.append(route)
        if not first_sum or len(asked) > 2:
            route.continue_()
        elif len(asked) == 1 or not cut:
            route.abort()

    page.route("**/clip/**", fetch)
    run = begin()
    if cut:
        while len(asked) < 2:
            page.wait_for_timeout(20)
        cable.cut()
        asked[1].abort()
        expect(page.locator("#away")).to_be_visible()
        cable.mend()
    expect(page.locator("#stones .saying")).to_be_visible()
    expect(page.locator("#lamp.lit")).to_be_visible()
    page.keyboard.type(first_answer(run))
    page.click("#send")
    expect(page.locator("#say")).to_have_text(f"{first_answer(run)}. Right!")
    page.click("[data-command=stop]")
    expect(page.locator("#say")).to_have_text("Well done! The round is over.")
    events = open_session(until(lambda: run.file)).events
    again = [
        e.event.why for e in events if isinstance(e.event, Commanded) and e.event.name == "repeat"
    ]
    assert again == ["it could not start on time"]
    # what the browser says of the sounds that it could not fetch is meant here
    visitor.complaints[:] = [c for c in visitor.complaints if "/clip/" not in c]


def test_a_tablet_that_comes_back_to_the_page_wakes_up(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}").page
    page.click("text=Join")
    page.wait_for_selector("#ready:enabled")
    page.evaluate(
        """() => {
          window.woken = 0;
          navigator.wakeLock.request = async () => { woken += 1; };
          const resume = AudioContext.prototype.resume;
          AudioContext.prototype.resume = function () {
            window.context = this;
            return resume.call(this);
          };
        }"""
    )
    page.click("#ready")
    expect(page.locator("#gate")).to_be_hidden()
    assert page.evaluate("woken") == 1
    page.evaluate("context.suspend()")
    assert page.evaluate("context.state") == "suspended"
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    until(lambda: page.evaluate("context.state") == "running")
    assert page.evaluate("woken") == 2


def test_looking_at_a_replay_is_no_break(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}", microphone=False).page
    page.click("text=Join")
    expect(page.locator("#ready")).to_be_enabled()
    expect(page.locator("#rest")).to_be_hidden()
    page.evaluate("sessionStorage.setItem('practised', String(10 * 60000 + 1))")
    page.reload()
    expect(page.locator("#rest")).to_be_visible()
    page.click("#rested")
    expect(page.locator("#rest")).to_be_hidden()
    page.reload()
    expect(page.locator("#ready")).to_be_enabled()
    expect(page.locator("#rest")).to_be_hidden()


def test_the_connection_breaks_while_the_answer_is_said(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    asha = join(room, visitors, "Asha Rao")
    room.classroom.plan = RoundPlan("direct", Way.OWN, count=1, terms=2, pace_s=1.5)

    async def begin() -> ClassRound:
        return await room.classroom.begin()

    class_round = on_loop(room, begin())
    until(lambda: rows(room, class_round)["Asha Rao"].phase == "speak")
    device = next(d for d in room.classroom.roster.devices.values() if d.name == "Asha Rao")
    cut = partial(device.cut, "cut by the test", 1013)

    say(asha, right_value(room, class_round, "Asha Rao"), 0, 0.3)
    for _ in range(3):
        time.sleep(0.25)
        room.loop.call_soon_threadsafe(cut)
    until(lambda: rows(room, class_round)["Asha Rao"].phase in ("done", "over", "again"))
    row = rows(room, class_round)["Asha Rao"]
    assert row.value == right_value(room, class_round, "Asha Rao")
    run = remotes(class_round)[0]
    assert run.stream.blocks.lost == 0
    room.loop.call_soon_threadsafe(class_round.do, "stop")
    until(lambda: class_round.phase == "over")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_accessibility_engine_finds_nothing(
    room: RunningServer, visitors: Callable[..., Visitor], scheme: str
) -> None:
    """axe-core, all rules of WCAG 2.0 to 2.2 at A and AA and its best practices."""
    found: dict[str, list[str]] = {}
    axe = Axe()

    def look(page: Page, what: str) -> None:
        results = axe.run(page, options={"runOnly": RULES}).response
        found[what] = [
            f"{v['id']}: {[n['html'][:90] for n in v['nodes'][:3]]}" for v in results["violations"]
        ]

    phone = {"viewport": {"width": 390, "height": 844}, "color_scheme": scheme}
    laptop = {"viewport": {"width": 1280, "height": 800}, "color_scheme": scheme}
    teacher = visitors(f"{room.url}/class", microphone=False, **laptop).page
    room.classroom.plan = RoundPlan("direct", Way.OWN, count=1, terms=2, pace_s=1.5)
    if not room.classroom.codes.open_for("3B"):
        teacher.click("text=Open with a new code")
    for path in (
        "class",
        "plan",
        "live",
        "results",
        "about",
        "wall",
        "join",
        "class/erase?pupil=Ben Okoro",
        "class/pupil?name=Ben Okoro",
    ):
        teacher.goto(f"{room.url}/{path}")
        look(teacher, path)
    teacher.goto(f"{room.url}/results")
    if teacher.locator("tbody th a").count():
        teacher.click("tbody th a >> nth=0")
        look(teacher, "one result")

    pupil = join(room, visitors, "Asha Rao", **phone)
    look(pupil, "waiting")
    pupil.click("summary:has-text('Practise')")
    pupil.click("summary:has-text('Settings')")
    look(pupil, "practice and settings")
    pupil.click("summary:has-text('Settings')")
    pupil.click("#go")
    expect(pupil.locator("#say")).to_have_text("Listen")
    look(pupil, "listening")
    pupil.click("[data-command=stop]")
    expect(pupil.locator("#say")).to_have_text("The round is over.")
    look(pupil, "over")
    assert {what: problems for what, problems in found.items() if problems} == {}


def test_the_teacher_lets_a_pupil_in_class_see_earlier_rounds(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    pupil = join(room, visitors, "Asha Rao")
    room.classroom.plan = RoundPlan("direct", Way.OWN, count=1, terms=2, pace_s=1.5)
    teacher = visitors(f"{room.url}/live", microphone=False).page
    pupil.click("summary:has-text('Practise')")
    pupil.click("text=Ask to see my earlier rounds")
    teacher.click("text=Yes")
    expect(teacher.locator("#asking")).to_be_hidden()
    pupil.click("#ready")
    pupil.click("summary:has-text('Practise')")
    pupil.click("text=See if your teacher said yes")
    pupil.click("#ready")
    pupil.click("summary:has-text('Practise')")
    expect(pupil.locator("#practice")).to_be_visible()
    expect(pupil.locator("text=Earlier rounds")).to_have_count(0)


def test_the_keyboard_is_enough(room: RunningServer, visitors: Callable[..., Visitor]) -> None:
    """From the plan to a running round and its end with Tab, Enter, Space and single keys."""
    asha = join(room, visitors, "Asha Rao")
    teacher = visitors(f"{room.url}/plan", microphone=False).page

    def focus(selector: str) -> None:
        for _ in range(80):
            if teacher.evaluate("(s) => document.activeElement?.matches(s) ?? false", selector):
                return
            teacher.keyboard.press("Tab")
        raise AssertionError(f"Tab never reaches {selector}")

    focus("#count")
    teacher.keyboard.press("Control+A")
    teacher.keyboard.type("1")
    focus("#within")
    teacher.keyboard.press("Control+A")
    teacher.keyboard.type("60")  # the round waits for the keys, however busy the machine
    focus("form#plan .foot button")
    teacher.keyboard.press("Enter")
    before = room.classroom.class_round
    teacher.wait_for_selector("#begin:enabled")
    expect(teacher.locator("#here li")).to_have_count(1)
    focus("#begin")
    teacher.keyboard.press("Space")
    class_round = next_round(room, before)
    expect(asha.locator("#say")).to_have_text("Listen")
    # a key does what its button says: the page hears of a change a little after the pupil's does
    pause = teacher.locator(".deck [data-key=p]")
    expect(pause).to_have_text("Pause")
    teacher.keyboard.press("p")
    expect(asha.locator("#say")).to_have_text("Paused")
    expect(pause).to_have_text("Continue")
    teacher.keyboard.down("p")
    expect(asha.locator("#say")).to_have_text("Listen")
    expect(pause).to_have_text("Pause")
    for _ in range(100):  # it is held down: once is meant, and no flood of messages
        teacher.keyboard.down("p")
    teacher.keyboard.up("p")
    expect(teacher.locator("#trouble")).to_be_hidden()
    expect(asha.locator("#say")).to_have_text(re.compile("Listen|Your turn"))
    expect(pause).to_have_text("Pause")
    teacher.keyboard.press("s")
    expect(asha.locator("#say")).to_have_text("The round is over.")
    until(lambda: class_round.phase == "over")
    # single keys can be turned off (WCAG 2.1.4)
    focus("#keys")
    teacher.keyboard.press("Space")
    assert teacher.evaluate("localStorage.getItem('single keys')") == "no"


def test_targets_and_reflow(room: RunningServer, visitors: Callable[..., Visitor]) -> None:
    """What the engine cannot see: 24 px targets everywhere, nothing to scroll sideways at 320 px
    (WCAG 2.5.8 and 1.4.10), nothing that moves when motion is not wanted (2.3.3)."""
    page = visitors(
        f"{room.url}/class", microphone=False, viewport={"width": 320, "height": 640},
        reduced_motion="reduce",
    ).page  # fmt: skip
    for path in ("class", "plan", "live", "results", "about", "join", "class/pupil?name=Asha Rao"):
        page.goto(f"{room.url}/{path}")
        wide, small, moving = page.evaluate(
            """() => [
              document.documentElement.scrollWidth - innerWidth,
              [...document.querySelectorAll("a, button, input, select, textarea, summary")]
                .filter((e) => e.checkVisibility() && e.type !== "hidden" && !e.closest("p, li"))
                .filter((e) => !e.matches(".skip"))
                .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
                .filter(([, box]) => box.width < 24 || box.height < 24).map(([html]) => html),
              [...document.querySelectorAll("*")].filter((e) => {
                const s = getComputedStyle(e);
                return s.animationName !== "none" || !/^0s(, 0s)*$/.test(s.transitionDuration);
              }).map((e) => e.outerHTML.slice(0, 80)),
            ]"""
        )
        assert wide <= 0, path
        assert small == [], path
        assert moving == [], path


@pytest.mark.parametrize("size", [(1920, 1080), (1366, 768), (1280, 720), (1024, 768)])
def test_the_wall_fits_with_everything_on_it(
    room: RunningServer, visitors: Callable[..., Visitor], size: tuple[int, int]
) -> None:
    """Nobody scrolls a projector: the answer that was asked for is on the screen."""
    viewport = {"width": size[0], "height": size[1]}
    page = visitors(f"{room.url}/wall", microphone=False, viewport=viewport).page
    below = page.evaluate(
        """() => {
          const put = (id, text) => {
            const part = document.getElementById(id);
            part.hidden = false;
            part.textContent = text;
          };
          document.getElementById("join").hidden = true;
          document.getElementById("round").hidden = false;
          put("title", "+ 8 is + 10 - 2");
          put("where", "Sum 12 of 48");
          put("who", "Asha Rao");
          put("state", "Once more, please");
          put("count", "17 of 20 have answered");
          put("answer", "55 + 12 − 17 + 28 + 11 − 60 = 29");
          put("reveal", "Show the answer");
          document.getElementById("stones").innerHTML = "<i></i>".repeat(6);
          return document.documentElement.scrollHeight - innerHeight;
        }"""
    )
    assert below <= 0


def test_a_page_that_another_took_over_says_so_and_no_more(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    first = visitors(f"{room.url}/join?code={home_code(room, 'Ben Okoro')}", microphone=False).page
    first.click("text=Join")
    expect(first.locator("#ready")).to_be_enabled()
    expect(first.locator("#go")).to_be_enabled()  # the connection is there
    second = first.context.new_page()
    second.goto(f"{room.url}/me")
    expect(first.locator("#problem")).to_have_text("The page was opened somewhere else.")
    for part in ("#gate", "#show", "#pad", "#practice"):  # nothing here does anything any more
        expect(first.locator(part)).to_be_hidden()
    expect(first.get_by_text("Open my page again")).to_be_visible()
    expect(first.locator("#away")).to_be_hidden()  # it does not come back by itself


def test_a_second_page_of_the_teacher_leaves_the_sound_where_it_is(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    room.classroom.plan = RoundPlan("direct", Way.ROOM, count=1, terms=2, pace_s=1.5)
    first = visitors(f"{room.url}/live", microphone=False).page
    first.click("#sound")
    expect(first.locator("#sound")).to_have_text("Sound is on")
    second = visitors(f"{room.url}/live", microphone=False).page
    expect(second.locator("#sound")).to_have_text("Sound on here")
    expect(second.locator("#elsewhere")).to_be_visible()
    expect(first.locator("#sound")).to_have_text("Sound is on")
    expect(first.locator("#trouble")).to_be_hidden()
    second.click("#sound")
    expect(second.locator("#sound")).to_have_text("Sound is on")
    expect(first.locator("#trouble")).to_contain_text("The sound has moved to another page.")
    expect(first.locator("#sound")).to_have_text("Sound on here")
    first.click("#sound")
    expect(first.locator("#sound")).to_have_text("Sound is on")
    expect(first.locator("#trouble")).to_be_hidden()
    expect(second.locator("#trouble")).to_be_visible()


def test_a_card_is_printed_alone(room: RunningServer, visitors: Callable[..., Visitor]) -> None:
    page = visitors(f"{room.url}/class?name=3B", microphone=False).page
    page.click("[aria-label^='Practice card for Ben Okoro']")
    card = page.locator(".pass")
    expect(page.get_by_text("Asha Rao")).to_be_visible()
    page.emulate_media(media="print")
    for part in (".code", ".qr svg", "#card-title"):
        expect(card.locator(part)).to_be_visible()
    printed = page.evaluate("document.body.innerText")
    assert "Ben Okoro" in printed
    for elsewhere in ("Asha Rao", "Pupils", "Joining with tablets", "Cancel the card", "Plan"):
        assert elsewhere not in printed


def test_files_of_this_server_only(room: RunningServer, visitors: Callable[..., Visitor]) -> None:
    """It works offline: no page asks for anything from elsewhere."""
    asked: list[str] = []
    visitor = visitors(f"{room.url}/join", microphone=False)
    visitor.page.on("request", lambda request: asked.append(request.url))
    for path in ("class", "plan", "live", "wall", "results", "about", "join"):
        visitor.page.goto(f"{room.url}/{path}")
    assert asked
    assert [url for url in asked if not url.startswith((room.url, "data:"))] == []


SCREENS = {"phone": (390, 844), "tablet": (1180, 820), "laptop": (1366, 768), "wall": (1920, 1080)}


@pytest.mark.parametrize("screen", SCREENS)
def test_what_matters_is_on_the_screen_in_light_and_in_dark(
    room: RunningServer, visitors: Callable[..., Visitor], screen: str
) -> None:
    """Nobody has to scroll to the code on the wall or to the button that joins; and a room that
    is dark gets dark pages (the accessibility engine looks at their contrast)."""
    on_loop(room, open_code(room))
    path, wanted = (
        ("wall", "#join .code, #join .qr svg") if screen == "wall" else ("join", "form *")
    )
    width, height = SCREENS[screen]
    brightness = {}
    for scheme in ("light", "dark"):
        page = visitors(
            f"{room.url}/{path}",
            microphone=False,
            viewport={"width": width, "height": height},
            color_scheme=scheme,
        ).page
        expect(page.locator(wanted).first).to_be_visible()
        outside, brightness[scheme] = page.evaluate(
            """(wanted) => [
              [...document.querySelectorAll(wanted)].map((e) => [e, e.getBoundingClientRect()])
                .filter(([, box]) => box.left < 0 || box.top < 0 || box.right > innerWidth
                  || scrollY + box.bottom > innerHeight)
                .map(([e]) => e.outerHTML.slice(0, 80)),
              getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g)
                .slice(0, 3).reduce((sum, part) => sum + Number(part) / 3, 0),
            ]""",
            wanted,
        )
        assert outside == []
    assert brightness["light"] > 200
    assert brightness["dark"] < 60


async def open_code(room: RunningServer) -> None:
    """As before a round: the wall shows how to join."""
    room.classroom.codes.for_class("3B")
    room.classroom.class_name, room.classroom.conductor.class_round = "3B", None
