"""What a teacher does on the pages: begins rounds, controls them with keys, shares the console."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import expect

from oralquiz.rounds.planning import RoundPlan, Way
from tests.browser.lesson import join, next_round, until
from tests.browser.running_server import RunningServer, Visitor


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


def test_an_error_goes_away_with_the_next_action(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    """An error line is about the last action: the next message that is sent clears it."""
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
    teacher.keyboard.type("60")  # the round waits for the keys, however busy the machine is
    focus("form#plan .foot button")
    teacher.keyboard.press("Enter")
    before = room.classroom.class_round
    teacher.wait_for_selector("#begin:enabled")
    expect(teacher.locator("#here li")).to_have_count(1)
    focus("#begin")
    teacher.keyboard.press("Space")
    class_round = next_round(room, before)
    expect(asha.locator("#say")).to_have_text("Listen")
    # a key does what its button says: this page learns of a change a little after the pupil's page
    pause = teacher.locator(".deck [data-key=p]")
    expect(pause).to_have_text("Pause")
    teacher.keyboard.press("p")
    expect(asha.locator("#say")).to_have_text("Paused")
    expect(pause).to_have_text("Continue")
    teacher.keyboard.down("p")
    expect(asha.locator("#say")).to_have_text("Listen")
    expect(pause).to_have_text("Pause")
    for _ in range(100):  # it is held down: it counts once, without a flood of messages
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
