"""The page that goes home: it hears and judges as the program does, and a round held on it, without
any network and opened as a file, comes back into the records."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner
from playwright.sync_api import Page, Worker, expect

from oralquiz.cli import main
from oralquiz.listen import find_model, open_recognizer
from oralquiz.records import add_pupil, open_records, scores
from oralquiz.session import open_session, rerun
from oralquiz.sound import read_recording
from tests.browser.running_server import Visitor, Windows, say
from tests.browser.test_looks import RULES, violations
from tests.sizes import THOROUGH, size
from tests.speak.sounds import FakeVoice

TESTS = Path(__file__).parents[1]
CLIPS = sorted((TESTS / "listen" / "data" / "clips").glob("*.*a*"))
DEMOS = sorted((TESTS.parent / "demo_sessions").glob("*.zip"))
TAPE = (TESTS / "homework" / "tape.js").read_text("utf-8")
HEAR = """
(letters) => {
  const bytes = Uint8Array.from(atob(letters), (letter) => letter.charCodeAt(0));
  return recognizer.hear(new Float32Array(bytes.buffer));
}
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A computer with a pupil, to whom two sums were given on a page."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("home")
        patch.setenv("ORALQUIZ_HOME", str(folder))
        patch.setattr("oralquiz.speak.open_voice", lambda *_, **__: FakeVoice())
        add_pupil(open_records(), "Asha", created="2026-01-05T09:00:00+00:00")
        asked = "--pupil Asha --step five:+3 --count 2 --terms 2 --seed 4 --pace 1.1"
        given = [*asked.split(), "--answer-within", "60", "--out", str(folder / "a.html")]
        made = CliRunner().invoke(main, ["homework", *given])
        assert made.exit_code == 0, made.output
        yield folder


@pytest.fixture(scope="module")
def visitor(home: Path, windows: Windows) -> Iterator[Visitor]:
    """A window in which the page was opened, without any network."""
    visitor = windows.visit((home / "a.html").as_uri())
    visitor.context.set_offline(True)
    expect(visitor.page.locator("#ready")).to_be_enabled()
    yield visitor
    visitor.context.set_offline(False)
    assert visitor.complaints == []
    windows.close(visitor)


@pytest.fixture
def worker(visitor: Visitor) -> Worker:
    return visitor.page.workers[0]


def letters(samples: Any) -> str:
    return base64.b64encode(np.ascontiguousarray(samples).tobytes()).decode()


def test_it_hears_what_python_hears(worker: Worker) -> None:
    """Values and words equal, confidences within 0.001, the voice from the same sample on."""
    model, recognizer = find_model(), open_recognizer()
    clips = [*CLIPS[:: size(5, 1)], *(model.path / test.file for test in model.self_tests[:2])]
    for clip in clips:
        samples = read_recording(clip, 16_000)
        here, there = recognizer.hear(samples, 0, 99), worker.evaluate(HEAR, letters(samples))
        assert there["words"] == here.words, clip
        found = [(one["value"], one["words"]) for one in there["candidates"]]
        assert found == [(one.value, one.words) for one in here.candidates], clip
        sure = [one["confidence"] for one in there["candidates"]]
        assert sure == pytest.approx([one.confidence for one in here.candidates], abs=1e-3), clip
        assert (there["onsetS"], there["offsetS"]) == pytest.approx((here.onset_s, here.offset_s))
    assert "42.flac" in {clip.name for clip in clips}


@pytest.mark.parametrize("demo", DEMOS[-size(1, 2) :], ids=lambda path: path.stem)
def test_a_round_comes_out_as_python_recorded_it(
    worker: Worker, demo: Path, tmp_path: Path
) -> None:
    """The same events, sound and captions, in a file that opens."""
    session = open_session(demo)
    given = {
        "pcm": letters(session.audio),
        "lines": [entry.encode() for entry in session.events],
        "head": dict(session.header),
        "options": session.options.as_json(),
        "highest": session.round.highest,
    }
    file = tmp_path / "again.zip"
    file.write_bytes(base64.b64decode(worker.evaluate(TAPE, given)))
    again = open_session(file)
    assert again.damage == ""
    assert [entry.encode() for entry in again.events] == given["lines"]
    assert np.array_equal(again.audio, session.audio)
    assert again.captions == session.captions
    assert again.header == session.header


def test_a_round_is_held_without_a_network_and_comes_back(
    home: Path, visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = visitor.page
    page.set_viewport_size({"width": 320, "height": 640})
    looked: dict[str, list[str]] = {}

    def look(what: str) -> None:  # frames: the replay is looked at elsewhere
        looked[what] = violations(Axe(), page, RULES, frames=False)

    if THOROUGH:
        look("before it")
    page.click("#ready")
    first, second = answers(page)
    lit = page.locator("#lamp.lit")
    expect(lit).to_be_visible()
    say(page, first, after_s=0.1)
    expect(page.locator("#place")).to_have_text("Sum 2 of 2")
    assert f"{first}. Right!" in page.evaluate("said")
    expect(lit).to_be_visible()
    if THOROUGH:
        look("in it")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.keyboard.type(f"{second + 1}")
    page.keyboard.press("Enter")
    expect(page.locator("#over")).to_be_visible()
    expect(page.locator("#more")).to_have_text("1 of 2 right.")
    look("after it")
    with page.expect_download() as saved:
        page.keyboard.press("Enter")  # the focus is on it already
    back = home / "back" / saved.value.suggested_filename
    saved.value.save_as(back)
    walk = page.frame_locator("#walk-frame")
    expect(walk.locator(".chain .verdict")).to_contain_text(f"Typed: {second + 1}")
    walk.locator("#next").click()
    expect(walk.locator(".count")).to_contain_text("move 1 of")
    assert not any(looked.values()), looked

    monkeypatch.setenv("ORALQUIZ_HOME", str(home))
    entered = CliRunner().invoke(main, ["enter", str(back.parent)])
    assert "entered, held at home, 2 answers to 2 sums" in entered.output
    (score,) = scores(open_records())
    assert (score.total.right, score.total.wrong) == (1, 1)
    session = open_session(back)
    assert not session.options.policy.asks_alike  # which the page cannot do
    assert rerun(session).difference == "" and not session.audio.any()  # no consent, no sound
    assert back.stat().st_size < 22_000
    assert [turn.typed for turn in session.turns] == [False, True]
    assert b"Ben" not in back.read_bytes()


def answers(page: Page) -> list[int]:
    turns = json.loads(page.locator("#homework").text_content() or "")["head"]["round"]["turns"]
    return [sum(turn["terms"]) for turn in turns]


def test_the_page_asks_for_nothing_from_elsewhere(home: Path) -> None:
    """Nor could it: its policy allows its own scripts and styles, by their hashes."""
    html = (home / "a.html").read_text("utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html)
    assert policy is not None
    allowed = unescape(policy[1])
    assert allowed.startswith("default-src 'none'; ")
    assert not {"'unsafe-inline'", "'unsafe-eval'", "http:", "https:", "*"} & set(allowed.split())
    markup = re.sub(r"<script type=.*?</script>", "", html, flags=re.DOTALL)
    assert not re.search(r'(?:src|href)="(?!#)', markup)
    assert len(html) < 12_000_000
