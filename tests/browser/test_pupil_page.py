"""The pupil's page: practice at home, impatient fingers, slow tablets, breaks."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import expect

from tests.browser.lesson import (
    has_settled,
    hold_back,
    home_code,
    join_at_home,
    remotes,
    until,
    was_said,
)
from tests.browser.running_server import RunningServer, Visitor


def test_practice_at_home_without_a_microphone(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = join_at_home(room, visitors, "Ben Okoro", microphone=False)
    page.click("summary:has-text('Settings')")
    page.uncheck("#microphone")
    page.select_option("#stretch", "10")
    page.click("summary:has-text('Settings')")
    page.click("#ready")
    page.select_option("#count", "3")
    page.click("#go")
    expect(page.locator("#say")).to_have_text("Listen")
    (class_round,) = [
        x for x in room.classroom.conductor.practices.values() if x.phase == "running"
    ]
    run = remotes(class_round)[0]
    assert run.options.answer_within_s == 80.0
    # while the sum is read the pad does not take answers yet
    expect(page.locator("#send")).to_be_disabled()
    page.keyboard.type("7")
    expect(page.locator("#typed")).to_have_value("")
    # one tapped, one typed, one left out
    expect(page.locator("#say")).to_have_text("Your turn")
    for digit in str(run.round.turns[0].sum.answer):
        page.click(f"[data-digit='{digit}']")
    page.click("#send")
    was_said(page, f"{run.round.turns[0].sum.answer}. Right!")
    expect(page.locator("#place")).to_have_text("2 of 3")
    expect(page.locator("#say")).to_have_text("Your turn")
    page.keyboard.type(str(run.round.turns[1].sum.answer + 1))
    page.keyboard.press("Enter")
    was_said(page, "Not this time")
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
    """A script that loads late must not undo what a quick pupil has chosen meanwhile."""
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
    page = join_at_home(room, visitors, "Ben Okoro")
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
    has_settled(page)
    expect(page.locator("#problem")).to_be_hidden()
    assert page.evaluate("microphones") == 1
    page.select_option("#count", "3")
    page.dblclick("#go")
    expect(page.locator("#say")).to_have_text("Listen")
    expect(page.locator("#problem")).to_be_hidden()
    page.dblclick("[data-command=pause]")
    expect(page.locator("#say")).to_have_text("Paused")
    page.dblclick("[data-command=resume]")
    expect(page.locator("#say")).to_have_text("Listen")
    page.dblclick("[data-command=skip]")
    expect(page.locator("#place")).to_have_text("2 of 3")
    # a pause between two sums is shown, and can be ended
    page.click("[data-command=skip]")
    was_said(page, "Here comes the next one.")
    page.click("[data-command=pause]")
    expect(page.locator("#say")).to_have_text("Paused")
    page.click("[data-command=resume]")
    expect(page.locator("#place")).to_have_text("3 of 3")
    page.dblclick("[data-command=stop]")
    expect(page.locator("#go")).to_be_enabled()
    expect(page.locator("#problem")).to_be_hidden()


def test_a_round_that_ends_before_a_slow_tablet_began(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = join_at_home(room, visitors, "Ben Okoro")
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
    has_settled(page)
    expect(page.locator("#go")).to_be_visible()


def test_a_tablet_that_comes_back_to_the_page_wakes_up(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = join_at_home(room, visitors, "Ben Okoro")
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


def test_looking_at_a_replay_is_not_a_break(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = join_at_home(room, visitors, "Ben Okoro", microphone=False)
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


def test_a_page_that_another_took_over_says_so_and_does_nothing_else(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    first = join_at_home(room, visitors, "Ben Okoro", microphone=False)
    expect(first.locator("#ready")).to_be_enabled()
    expect(first.locator("#go")).to_be_enabled()  # the connection is there
    second = first.context.new_page()
    second.goto(f"{room.url}/me")
    expect(first.locator("#problem")).to_have_text("The page was opened somewhere else.")
    for part in ("#gate", "#show", "#pad", "#practice"):  # nothing here has any effect any more
        expect(first.locator(part)).to_be_hidden()
    expect(first.get_by_text("Open my page again")).to_be_visible()
    expect(first.locator("#away")).to_be_hidden()  # it does not come back by itself
