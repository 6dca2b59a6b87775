"""A pupil's page whose connection breaks: nothing that was typed or read is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page, Route, expect

from oralquiz.homework.page_assets import asset_text
from oralquiz.rounds.events import Commanded
from oralquiz.session.file import open_session
from oralquiz.sound.blocks import BLOCK
from oralquiz.web.remote_round import RemoteRound
from tests.browser.lesson import home_code, remotes, until, was_said
from tests.browser.running_server import Cable, RunningServer, Visitor
from tests.sizes import size

Typist = tuple[Visitor, Cable, Callable[[], RemoteRound]]


@pytest.fixture
def typist(room: RunningServer, visitors: Callable[..., Visitor]) -> Iterator[Typist]:
    """A pupil who types, ready to practise alone: window, cable, and a function that begins."""
    url = f"{room.url}/join?code={home_code(room, 'Ben Okoro')}"
    visitor = visitors(url, microphone=False)
    page, cable = visitor.page, Cable(visitor)
    page.click("text=Join")
    page.click("summary:has-text('Settings')")
    page.uncheck("#microphone")
    page.select_option("#stretch", "0")
    page.click("summary:has-text('Settings')")
    page.click("#ready")
    page.select_option("#count", "3")

    def begin() -> RemoteRound:
        page.click("#go")
        expect(page.locator("#say")).to_have_text("Listen")
        practices = room.classroom.conductor.practices.values()
        return remotes(next(one for one in practices if one.phase == "running"))[0]

    yield visitor, cable, begin
    if page.locator("[data-command=stop]").is_visible():
        page.click("[data-command=stop]")
    expect(page.locator("#say")).to_have_text("Well done! The round is over.")
    # the next sum's sound may have been on its way when the round was stopped
    visitor.complaints[:] = [c for c in visitor.complaints if "404" not in c or "/clip/" not in c]


def sum_sounds(page: Page) -> None:
    """Wait until a sum has begun to sound: no phrase is as long as the pace."""
    until(lambda: page.evaluate("longest") > 1.5)


def first_answer(run: RemoteRound) -> str:
    return str(run.round.turns[0].sum.answer)


@pytest.mark.parametrize("cut_at", ["#stones .said + .saying", *size([], ["#lamp.lit"])])
def test_a_typed_answer_waits_for_the_connection(typist: Typist, cut_at: str) -> None:
    """Cut off while the sum is read, only the page knows that it has sounded. It must have begun: a
    sum that a busy machine could not start in time is read again."""
    visitor, cable, begin = typist
    page = visitor.page
    answer = first_answer(begin())
    sum_sounds(page)
    expect(page.locator(cut_at)).to_be_visible()
    cable.cut()
    expect(page.locator("#away")).to_be_visible()
    expect(page.locator("#say")).to_have_text("Your turn")
    page.keyboard.type("1")
    page.click("#send")
    expect(page.locator("#typed")).to_have_value("1")
    page.keyboard.type(answer)  # another answer, before the first has arrived anywhere
    page.click("#send")
    expect(page.locator("#typed")).to_have_value(answer)
    cable.mend()
    was_said(page, f"{answer}. Right!")
    expect(page.locator("#away")).to_be_hidden()
    expect(page.locator("#typed")).to_have_value("")


def test_a_connection_that_is_gone_without_a_word(typist: Typist) -> None:
    visitor, cable, begin = typist
    page = visitor.page
    answer = first_answer(begin())
    sum_sounds(page)
    expect(page.locator("#say")).to_have_text("Your turn")
    cable.deaden()
    for digit in answer:
        page.click(f"[data-digit='{digit}']")
    page.click("#send")
    was_said(page, f"{answer}. Right!")  # through another one


@pytest.mark.parametrize("cut", [True, *size([], [False])])
def test_a_sound_that_could_not_be_fetched_is_fetched_again(typist: Typist, cut: bool) -> None:
    """With or without the connection, the sum is not passed over in silence."""
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
    sum_sounds(page)
    expect(page.locator("#lamp.lit")).to_be_visible()
    page.keyboard.type(first_answer(run))
    page.click("#send")
    was_said(page, f"{first_answer(run)}. Right!")
    page.click("[data-command=stop]")
    expect(page.locator("#say")).to_have_text("Well done! The round is over.")
    events = open_session(until(lambda: run.file)).events
    again = [
        e.event.why for e in events if isinstance(e.event, Commanded) and e.event.name == "repeat"
    ]
    assert set(again) == {"it could not start on time"}  # a busy machine may need several attempts
    # the browser's errors about sounds that it could not fetch are expected here
    visitor.complaints[:] = [c for c in visitor.complaints if "/clip/" not in c]


# the audio thread of a page without one: `heard(frames)` gives what it hears to `microphone`
AUDIO_THREAD = """
() => {
  const sent = [];
  let microphone = null, currentFrame = 0;
  const sampleRate = 48000;
  class AudioWorkletProcessor { port = { postMessage: (data) => sent.push(data) }; }
  const registerProcessor = (name, Processor) => (microphone = new Processor());
  %s
  const hear = (seconds) => {
    const until = currentFrame + seconds * sampleRate;
    for (; currentFrame < until; currentFrame += 128)
      microphone.process([[Float32Array.from({ length: 128 }, (_, i) =>
        Math.sin((currentFrame + i) * (currentFrame + i) / 3e6) / 2)]]);
  };
  const tell = (data) => microphone.port.onmessage({ data });
  const story = (hurry) => {
    sent.length = currentFrame = 0;
    tell({ start: 7 });
    hear(0.5);
    tell({ unhurried: hurry ? 0 : 320 * 100 });
    hear(2);
    tell({ unhurried: hurry ? 0 : 320 * 1000 });
    hear(0.69);
    tell({ unhurried: 0 });
    hear(0.5);
    return sent.slice(1).map(({ number, packet }) =>
      [number, new DataView(packet).getUint32(0, true), [...new Int16Array(packet, 4)]]);
  };
  return [story(true), story(false)];
}
"""


def test_packets_are_long_until_an_answer_may_come_and_hold_the_same_sound(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    page = visitors(f"{room.url}/static/icon.svg", microphone=False).page
    script = asset_text("shared/worklet.js")
    short, long = page.evaluate(AUDIO_THREAD % script)
    sizes = [len(sound) // BLOCK for _, _, sound in long]
    assert {len(sound) for _, _, sound in short} == {3 * BLOCK}
    assert [sample for *_, sound in long for sample in sound] == [
        sample for *_, sound in short for sample in sound
    ][: BLOCK * sum(sizes)]
    ends = [7 + sum(sizes[: k + 1]) for k in range(len(sizes))]
    assert [number for number, *_ in long] == [written for _, written, _ in long] == [7, *ends[:-1]]
    assert 100 in ends  # what is waited for begins with a packet of its own
    assert set(sizes[: ends.index(100) + 1]) <= {3, 12, sizes[ends.index(100)]}
    assert sizes.count(12) >= 7 and sizes[-7:] == [3] * 7
