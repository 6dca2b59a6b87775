"""What goes into a page, and what cannot."""

from __future__ import annotations

import gzip
import hashlib
import re
from dataclasses import replace

import pytest

from oralquiz.beads import Sum
from oralquiz.errors import BadInput
from oralquiz.homework import build_homework
from oralquiz.homework.page_assets import (
    asset,
    asset_text,
    homework_script,
    homework_words,
    worker_script,
)
from oralquiz.rounds import Options, Round, Turn, VoiceReader
from tests.speak.sounds import FakeVoice

ROUND = Round("Sums", "2026-01-05T09:00:00+00:00", (Turn("Asha", Sum((1, 2))),))


def test_the_decoder_is_the_one_that_is_described() -> None:
    told = dict(re.findall(r"\| `(vosk\.\w+)`.*?\| `(\w{64})`", asset_text("vosk/README.md")))
    here = {
        "vosk.js": asset("vosk/vosk.js"),
        "vosk.wasm": gzip.decompress(asset("vosk/vosk.wasm.gz")),
    }
    assert told == {name: hashlib.sha256(raw).hexdigest() for name, raw in here.items()}
    assert "Apache License" in asset_text("vosk/LICENSE")


def test_what_makes_code_out_of_text_is_replaced() -> None:
    """The page's policy forbids it. One place is left, which hearing never comes to."""
    script = asset_text("vosk/vosk.js")
    assert (script.count("new Function"), script.count("new_(Function")) == (0, 1)
    assert "function __emval_get_method_caller" in script.split("new_(Function")[0][-1_200:]


def test_the_scripts_can_stand_in_a_page() -> None:
    for script in (homework_script(), worker_script()):
        assert "</script" not in script and "<!--" not in script


def test_every_word_of_the_page_is_used() -> None:
    template = asset_text("page.html.j2")
    assert set(homework_words()["page"]) == set(re.findall(r"\bt\.(\w+)", template))
    script = homework_script()
    used = set(homework_words()["script"]) - {"phrases"}
    assert used == {word for word in used if f"words.{word}" in script}


@pytest.mark.parametrize(
    ("round_", "said"),
    [
        (replace(ROUND, turns=(*ROUND.turns, Turn("Ben", Sum((1, 2))))), "for one pupil"),
        (replace(ROUND, columns=1), "could find out whether it hears"),
    ],
)
def test_a_round_that_cannot_go_home_is_refused(round_: Round, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        build_homework(round_, Options(), VoiceReader(FakeVoice(), 2.5))


def test_a_page_that_is_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("oralquiz.homework.homework_page.LARGEST_PAGE", 1_000_000)
    with pytest.raises(BadInput, match="may have 1: give fewer sums"):
        build_homework(ROUND, Options(), VoiceReader(FakeVoice(), 2.5))
