"""The replay page in a real browser: steps, sound and drawing agree; nothing is fetched."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from functools import cache
from itertools import accumulate
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from oralquiz.beads import MoveOrder, Sum, explain
from oralquiz.replay import replay_audio as sound
from oralquiz.replay.page import build_page
from tests.browser.conftest import Open
from tests.replay.made import made
from tests.replay.test_spoken_steps import Beeper
from tests.sizes import size

# Reads every picture back from the positions of its parts, not from what the script says it drew.
WALK = """
() => {
  const box = document.getElementById("player");
  const read = (which) => {
    let value = 0;
    for (const part of box.querySelectorAll(`[data-shows="${which}"] .part`)) {
      const [x, y] = part.getAttribute("transform").match(/-?[0-9.]+/g).map(Number);
      const [dx, dy] = part.dataset.away.split(" ").map(Number);
      const atHome = Math.abs(x) < 0.01 && Math.abs(y) < 0.01;
      const away = Math.abs(x - dx) < 0.02 && Math.abs(y - dy) < 0.02;
      if (atHome === away) return NaN;
      if (atHome !== part.classList.contains("counts")) return NaN;
      if (atHome) value += (part.dataset.bead === "five" ? 5 : 1) * 10 ** part.dataset.column;
    }
    return value;
  };
  const next = document.getElementById("next");
  const walks = [];
  for (const button of document.querySelectorAll(".sums button")) {
    button.click();
    const cards = [];
    for (;;) {
      const inside = box.querySelector(".count").textContent !== "";
      cards.push({
        card: Number(box.dataset.card),
        time: Number(box.dataset.time),
        sound: window.player.currentTime,
        slider: Number(document.getElementById("place").value),
        before: inside ? read("before") : null,
        moving: read("moving"),
        after: inside ? read("after") : null,
        why: box.querySelector(".why").textContent,
        term: [...box.querySelectorAll(".chain button")].findIndex(
          (one) => one.getAttribute("aria-current") === "step"),
      });
      if (next.disabled || cards.length > 400) break;
      next.click();
    }
    walks.push(cards);
  }
  return walks;
}
"""


def random_sum(rng: np.random.Generator, columns: int, count: int) -> str:
    """Terms of any size that stay on the frame, as awkward as chance makes them."""
    top = 10**columns - 1
    total = 0
    terms: list[int] = []
    while len(terms) < count:
        term = int(rng.integers(-total, top - total + 1))
        if term:
            terms.append(term)
            total += term
    return " ".join(f"{term:+d}" for term in terms)


@pytest.fixture
def quick_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """Clips of equal length are all silent here: encode each length once."""
    encode = cache(lambda count, rate, bits: original(np.zeros(count, np.float32), rate, bits))
    original = sound.encode
    monkeypatch.setattr(sound, "encode", lambda clip, rate, bits: encode(len(clip), rate, bits))


# columns, sums, seed: a thousand sums when all is tried, most on two hands, some on one or a frame
PAGES = [(2, size(10, 100), seed) for seed in range(10, size(12, 17))]
PAGES += [(1, size(10, 100), 20), (3, size(10, 100), 30), (4, size(10, 75), 40)]
PAGES += [(9, size(5, 25), 90)]
assert sum(count for _, count, _ in PAGES) == size(55, 1000)


@pytest.mark.parametrize(("columns", "count", "seed"), PAGES)
@pytest.mark.usefixtures("quick_sound")
def test_step_sound_and_drawing_agree_at_every_move(
    open_page: Open, columns: int, count: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    order = MoveOrder.ONES_FIRST if seed % 2 else MoveOrder.FIVE_FIRST
    sums = [random_sum(rng, columns, 3) for _ in range(count)]
    opened = open_page(build_page(made(sums, columns=columns, pace_s=0.5, order=order)))
    walks = opened.page.evaluate(WALK)
    assert opened.complaints == []
    assert len(walks) == len(sums)
    for text, cards in zip(sums, walks, strict=True):
        check_walk(Sum.parse(text), columns, order, cards)


def check_walk(terms: Sum, columns: int, order: MoveOrder, cards: list[dict[str, Any]]) -> None:
    moves = [
        (index, move)
        for index, played in enumerate(explain(terms, columns, order))
        for move in played.moves
    ]
    totals = [0, *accumulate(terms.terms)]
    assert [card["card"] for card in cards] == list(range(len(moves) + 2))
    assert cards[0]["moving"] == 0
    assert cards[-1]["moving"] == terms.answer
    for card, (index, move) in zip(cards[1:-1], moves, strict=True):
        assert (card["before"], card["after"]) == (move.before, move.after)
        assert card["moving"] == move.after  # it has come to rest
        assert card["term"] == index
        # 0.4 s of lead, then a term every half second: the move is made during its term
        assert 0.4 + 0.5 * index < card["time"]
        if index + 1 < len(terms.terms):
            assert card["time"] <= 0.4 + 0.5 * (index + 1)
    for index in range(len(terms.terms)):
        last = max(n for n, (term, _) in enumerate(moves, start=1) if term == index)
        assert cards[last]["after"] == totals[index + 1]
    for card in cards:
        assert card["sound"] == pytest.approx(card["time"], abs=0.001)
        assert card["slider"] == pytest.approx(card["time"], abs=0.001)


def until(page: Page, condition: str) -> None:
    """Wait for a condition; the page's own policy forbids evaluating it inside the page."""
    end = time.monotonic() + 30  # a machine that runs tests is busy
    while time.monotonic() < end:
        if page.evaluate(condition):
            return
        page.wait_for_timeout(25)
    raise AssertionError(f"never came: {condition}")


WRONG = made(["34 + 13 - 22", "7 + 6", "52 - 8 + 9"], [20, 13, None], tones=True)


@cache
def wrong_page() -> str:
    return build_page(WRONG)


@pytest.mark.parametrize(("width", "columns"), [(360, 5), *size([], [(1280, 2)])])
def test_an_automated_check_of_accessibility_is_clean(
    open_page: Open, width: int, columns: int
) -> None:
    session = made(["34 + 13 - 22", "7 + 6"], [20, 13], columns=columns, damage="cut short")
    opened = open_page(build_page(session), width)
    for card in range(6):  # card 4 is where the slip is; card 5 is any other
        if card == 4 or card == size(4, 0):
            found = Axe().run(opened.page)
            assert found.response["violations"] == []
            # more than a handful of rules must have found something to check
            assert len(found.response["passes"]) > 20
            opened.page.emulate_media(color_scheme="dark")  # which changes nothing but colours
            found = Axe().run(opened.page, options={"runOnly": ["color-contrast"]})
            assert found.response["violations"] == []
            assert len(found.response["passes"]) == 1
            opened.page.emulate_media(color_scheme="light")
        opened.page.click("#next")
    assert opened.complaints == []


def test_the_page_fetches_nothing_and_keeps_its_own_policy(open_page: Open) -> None:
    opened = open_page(wrong_page())
    opened.page.click("#play")
    until(opened.page, "window.player.currentTime > 0.2")
    assert opened.complaints == []  # among them would be every request to a server
    # what the policy does not name by its hash does not run
    opened.page.evaluate(
        """() => { const s = document.createElement('script'); s.textContent = 'window.evil = 1';
        document.body.append(s); }"""
    )
    assert opened.page.evaluate("window.evil") is None
    assert any("Content Security Policy" in line for line in opened.complaints)


def test_hostile_names_and_words_stay_text(open_page: Open) -> None:
    evil = "</script><img src=x onerror=window.evil=1><b>\u2028{{7*7}}"
    session = made(["3 + 4"], [8], pupil=evil, name=evil, damage=evil)
    opened = open_page(build_page(session))
    assert opened.page.evaluate("window.evil") is None
    assert opened.page.locator("img").count() == 0
    assert evil.replace("\u2028", "") in opened.page.inner_text("#sum-title").replace("\u2028", "")
    assert opened.complaints == []


# Plays until the sound card has moved on by 1.2 s. Every time that something is drawn, the place
# that is drawn and the sound's own are noted; and both beside the sound card's clock, which stands
# still when a busy machine does.
PLAY = """
async () => {
  const box = document.getElementById("player"), context = new AudioContext();
  context.createMediaElementSource(window.player).connect(context.destination);
  const drawn = [], played = [];
  const note = () => {
    const sounding = window.player.currentTime;
    drawn.push([Number(box.dataset.time), sounding]);
    if (sounding > 0.1) played.push([context.currentTime, sounding]);
  };
  const watch = new MutationObserver(note);
  watch.observe(box, { attributeFilter: ["data-time"] });
  document.getElementById("play").click();
  for (let tries = 0; tries < 1200; tries += 1) {
    await new Promise((done) => setTimeout(done, 25));
    if (played.length && played.at(-1)[0] - played[0][0] > 1.2) break;
  }
  watch.disconnect();
  return { drawn, played, rate: window.player.playbackRate, pitch: window.player.preservesPitch };
}
"""


@pytest.mark.parametrize("speed", size(["0.5"], ["1", "0.5", "0.25"]))
def test_playing_moves_sound_and_hands_together(open_page: Open, speed: str) -> None:
    page = open_page(wrong_page(), calm=False).page
    page.check(f"input[name=speed][value='{speed}']", force=True)
    found = page.evaluate(PLAY)
    assert (found["rate"], found["pitch"]) == (float(speed), True)
    assert len(found["drawn"]) >= 5
    # what is drawn was the sound's place a moment ago; on a busy machine some moments are long
    behind = [sounding - drawn for drawn, sounding in found["drawn"]]
    assert min(behind) > -0.001
    assert median(behind) < 0.02
    (began, first), (ended, last) = found["played"][0], found["played"][-1]
    assert ended - began > 1.2
    assert (last - first) / (ended - began) == pytest.approx(float(speed), rel=0.25)
    page.click("#play")
    assert page.get_attribute("#play", "aria-label") == "Play"
    assert page.evaluate("window.player.paused")
    at_rest = float(page.get_attribute("#player", "data-time") or 0)
    assert at_rest == pytest.approx(page.evaluate("window.player.currentTime"), abs=0.001)


@pytest.mark.parametrize("speed", size(["0.25"], ["1", "0.5", "0.25"]))
def test_slow_motion_keeps_the_pitch(open_page: Open, speed: str) -> None:
    """The tone of a term, 440 Hz, measured at the player's output while it plays slowly."""
    page = open_page(build_page(made(["34 + 13"], pace_s=4.0, tones=True))).page
    page.check(f"input[name=speed][value='{speed}']", force=True)
    page.click(".chain li:nth-child(1) button")
    heard = page.evaluate(
        """async () => {
          const context = new AudioContext();
          const analyser = context.createAnalyser();
          analyser.fftSize = 8192;
          context.createMediaElementSource(window.player).connect(analyser);
          analyser.connect(context.destination);
          document.getElementById("play").click();
          const bins = new Float32Array(analyser.frequencyBinCount);
          for (let tries = 0; tries < 100; tries += 1) {
            await new Promise((done) => setTimeout(done, 50));
            analyser.getFloatFrequencyData(bins);
            const top = bins.indexOf(Math.max(...bins));
            if (bins[top] > -50 && window.player.currentTime > 0.6) {
              return [(top * context.sampleRate) / analyser.fftSize, window.player.currentTime];
            }
          }
          return [0, window.player.currentTime];
        }"""
    )
    assert heard[0] == pytest.approx(440, abs=15)
    assert heard[1] < 2.4  # it was still the first term, two seconds long


def test_the_sound_is_where_the_timeline_says(open_page: Open) -> None:
    """Decoded by the browser itself, the tones of terms and answer begin at their marks."""
    opened = open_page(build_page(made(["34 + 13 - 22"], [20], tones=True)))
    found = opened.page.evaluate(
        """async () => {
          const raw = atob(document.getElementById('sound-0').textContent);
          const bytes = Uint8Array.from(raw, (c) => c.charCodeAt(0));
          const context = new OfflineAudioContext(1, 16000, 16000);
          const decoded = await context.decodeAudioData(bytes.buffer);
          const onsets = []; let quiet = 9999;
          decoded.getChannelData(0).forEach((value, n) => {
            if (Math.abs(value) > 0.06) { if (quiet > 1600) onsets.push(n / 16000); quiet = 0; }
            else quiet += 1;
          });
          const [one] = JSON.parse(document.getElementById('data').textContent).sums;
          const { terms, answers, duration } = one.tracks.round;
          return { onsets, marks: [...terms, ...answers].map((m) => m[0]), duration,
                   decoded: decoded.duration };
        }"""
    )
    assert found["onsets"] == pytest.approx(found["marks"], abs=0.005)
    assert found["decoded"] == pytest.approx(found["duration"], abs=0.15)


def test_a_voice_explains_on_request(open_page: Open) -> None:
    """The pieces put end to end last as long as the timeline says, and the steps follow them."""
    opened = open_page(build_page(WRONG, voice=Beeper()))
    page = opened.page
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.check("#explained", force=True)
    assert page.get_attribute("#player", "data-card") == "4"  # the same move, explained
    until(page, "window.player.duration > 1")
    duration = page.evaluate("window.player.duration")
    assert duration == pytest.approx(float(page.get_attribute("#place", "max") or 0), abs=0.15)
    page.keyboard.press("ArrowLeft")
    page.click("#play")
    until(page, "document.getElementById('player').dataset.card === '4'")
    assert "not enough fingers" in page.inner_text(".caption")
    page.click("#play")
    assert page.evaluate("window.player.currentTime") == pytest.approx(
        float(page.get_attribute("#player", "data-time") or 0), abs=0.06
    )
    assert opened.complaints == []


def test_the_keyboard_alone_is_enough(open_page: Open) -> None:
    page = open_page(wrong_page()).page
    player = page.locator("#player")
    for key, card in [
        ("ArrowRight", "1"),
        ("ArrowRight", "2"),
        ("ArrowLeft", "1"),
        ("ArrowDown", "3"),  # the first move of + 13
        ("ArrowDown", "5"),
        ("ArrowUp", "3"),
        ("End", "7"),
        ("Home", "0"),
    ]:
        page.keyboard.press(key)
        assert player.get_attribute("data-card") == card, key
    page.keyboard.press("Space")
    until(page, "window.player.currentTime > 0.1")
    page.keyboard.press("Space")
    assert page.evaluate("window.player.paused")
    page.focus("#place")
    page.keyboard.press("ArrowRight")  # on the slider too, an arrow is a move
    assert player.get_attribute("data-card") == "1"


def test_a_swipe_is_a_step(open_page: Open) -> None:
    page = open_page(wrong_page(), 390, 844).page
    box = page.locator(".stage").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 3

    def swipe(by: int) -> None:
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + by, y + 3)
        page.mouse.up()

    swipe(-90)
    swipe(-90)
    swipe(90)
    swipe(10)  # too short to be deliberate
    assert page.get_attribute("#player", "data-card") == "1"


def test_a_term_jumps_to_where_it_is_read(open_page: Open) -> None:
    page = open_page(wrong_page()).page
    page.click(".chain li:nth-child(2) button")
    assert page.evaluate("window.player.currentTime") == pytest.approx(1.4, abs=0.001)
    assert page.inner_text(".words .where") == "left hand"
    assert page.inner_text(".caption") == "teacher:13"
    page.click(".chain li:nth-child(4) button")
    assert "The hands show 25." in page.inner_text(".words .why")


def test_where_it_may_have_gone_wrong_is_shown_on_its_move(open_page: Open) -> None:
    page = open_page(wrong_page()).page
    maybe = page.locator(".maybe")
    assert "Heard: 20" in maybe.inner_text()
    assert not maybe.locator(".pictured").is_visible()
    maybe.get_by_text("Maybe the thumb did not move.").click()
    assert page.get_attribute("#player", "data-card") == "4"
    assert page.inner_text(".words .why") == "3 more: not enough fingers, so +\xa05 and −\xa02."
    # what the hands would have shown is next to what they should show
    assert maybe.locator(".picture").get_attribute("aria-label") == "The hands show 42."
    assert page.locator("[data-shows=after] .picture").get_attribute("aria-label") == (
        "The hands show 47."
    )
    page.click(".sums li:nth-child(2) button")
    assert not maybe.is_visible()  # that one was right


def test_the_view_can_be_changed(open_page: Open) -> None:
    page = open_page(wrong_page()).page
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    assert page.inner_text(".words .do") == "Thumb up, then 2 fingers down."
    page.check("#ones-first", force=True)
    assert page.inner_text(".words .do") == "2 fingers down, then thumb up."
    assert page.inner_text(".words .why") == "3 more: not enough fingers, so −\xa02 and +\xa05."
    thumb = page.locator("[data-shows=after] .part[data-bead=five][data-column='0']")
    left, right = thumb.bounding_box(), page.locator("[data-shows=after]").bounding_box()
    assert left is not None and right is not None
    middle = right["x"] + right["width"] / 2
    assert left["x"] > middle - 5  # the pupil's own right hand, its thumb in the middle
    page.check("#mirror", force=True)
    turned = thumb.bounding_box()
    assert turned is not None
    assert turned["x"] + turned["width"] < middle + 5
    page.check("#beads", force=True)
    assert page.inner_text(".words .where") == "ones"
    assert page.locator("[data-shows=moving] .beam").count() == 2
    assert page.get_attribute("#player", "data-card") == "4"


def test_without_motion_nothing_is_in_between(open_page: Open) -> None:
    """With reduced motion a step is there at once. Otherwise it moves, and ends at the same
    place."""
    calm = open_page(wrong_page()).page
    calm.click("#next")
    assert calm.evaluate("window.player.currentTime") == pytest.approx(
        float(calm.get_attribute("#player", "data-time") or 0), abs=0.001
    )
    lively = open_page(wrong_page(), calm=False).page
    early = lively.evaluate(  # before the next frame, however busy the machine
        """() => {
          document.getElementById("next").click();
          return Number(document.getElementById("player").dataset.time);
        }"""
    )
    target = float(calm.get_attribute("#player", "data-time") or 0)
    assert early < target
    until(lively, f"Math.abs(document.getElementById('player').dataset.time - {target}) < 0.001")


def test_nothing_sticks_out_at_the_side(open_page: Open) -> None:
    page = open_page(wrong_page()).page
    for _ in range(4):
        page.click("#next")
    for width in [320, 390, 820, 1366, 1920]:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_targets_are_large_enough_for_a_thumb(open_page: Open) -> None:
    """WCAG 2.2, 2.5.8: at least 24 by 24 CSS pixels."""
    page = open_page(wrong_page(), 360).page
    for target in page.locator("button:visible, .choice:visible, input[type=range]").all():
        box = target.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 24, target.inner_text()


def test_on_paper_there_is_the_step_sheet_and_no_player(open_page: Open) -> None:
    page = open_page(wrong_page()).page
    assert not page.locator("#sheet").is_visible()
    pages = page.pdf(format="A4").count(b"/Type /Page\n")
    assert pages == 3  # one for each sum: the browser tells the page before it prints
    page.emulate_media(media="print")
    assert not page.locator("#player").is_visible()
    assert page.locator("#sheet article").count() == 3
    assert page.locator("#sheet tbody tr").first.is_visible()
    fill = page.evaluate("getComputedStyle(document.querySelector('#sheet .counts .skin')).fill")
    assert re.fullmatch(r"rgb\((\d+), \1, \1\)", fill), "print uses grey only"


def test_without_a_script_the_step_sheet_is_there(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text(wrong_page(), encoding="utf-8")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.locator("#sheet tbody tr").first.is_visible()
    assert not page.locator("#player").is_visible()
    context.close()


def test_a_session_without_sound_still_plays(open_page: Open) -> None:
    silent = replace(WRONG, audio=WRONG.audio[:0], damage="audio.flac ends early")
    opened = open_page(build_page(silent))
    opened.page.click("#play")
    until(opened.page, "document.getElementById('player').dataset.card === '1'")
    assert opened.complaints == []
