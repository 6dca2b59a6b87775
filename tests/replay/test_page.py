"""The page as a file: small, self-contained, escaped, only what was asked for."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from oralquiz.errors import BadInput
from oralquiz.replay.page import build_page
from tests.replay.made import RATE, made
from tests.replay.test_spoken_steps import Beeper

pytestmark = pytest.mark.slow

SUMS = ["34 + 13 - 22", "7 + 6", "52 - 8 + 9"]


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    assert found is not None
    data: dict[str, Any] = json.loads(found[1])
    return data


def test_ten_sums_are_under_a_megabyte_and_a_half_even_when_explained() -> None:
    """A lesson's ten sums of five terms at 3 s, all wrong, full of noise, with the explanation."""
    rng = np.random.default_rng(2)
    sums: list[str] = []
    for _ in range(10):
        total = 0
        terms: list[int] = []
        while len(terms) < 5:
            term = int(rng.integers(-total, 100 - total))
            if abs(term) > 9:
                terms.append(term)
                total += term
        sums.append(" ".join(f"{term:+d}" for term in terms))
    session = made(sums, [(n * 7) % 100 for n in range(10)], pace_s=3.0)
    session.audio[:] = rng.normal(0, 3000, session.audio.shape).astype(np.int16)
    assert len(session.audio) / RATE >= 160
    page = build_page(session, voice=Beeper())
    assert len(page.encode()) < 1_500_000
    sums_told = data_of(page)["sums"]
    assert all(one["tracks"]["explained"]["pieces"] for one in sums_told)
    assert all(one["tracks"]["round"]["pieces"] for one in sums_told)


def test_the_page_needs_nothing_else() -> None:
    page = build_page(made(SUMS, tones=True))
    assert re.findall(r'(?:src|href)="(?!#)', page) == []
    assert "url(" not in page
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", page)
    assert "eval(" not in page
    assert "new Function" not in page


def test_the_policy_names_the_style_and_the_script_that_are_there() -> None:
    page = build_page(made(SUMS))
    policy = html.unescape(re.search(r'Policy" content="(.*?)">', page)[1])  # type: ignore[index]
    style = re.search(r"<style>(.*?)</style>", page, re.S)[1]  # type: ignore[index]
    script = re.search(r'<script type="module">(.*?)</script>', page, re.S)[1]  # type: ignore[index]
    for kind, text in (("style-src", style), ("script-src", script)):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind} 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert " style=" not in page.split("<body", 1)[1].split("<script", 1)[0]


def test_names_are_escaped_wherever_they_appear() -> None:
    evil = '"><script>alert(1)</script>&amp;'
    page = build_page(made(["3 + 4"], [8], pupil=evil, name=evil, damage=evil))
    assert "<script>alert" not in page
    assert page.count("alert(1)") > 3
    assert data_of(page)["sums"][0]["pupil"] == evil


def test_only_what_went_wrong() -> None:
    page = build_page(made(SUMS, [25, 14, None]), only_wrong=True)
    assert [one["title"] for one in data_of(page)["sums"]] == ["Asha, sum 2", "Asha, sum 3"]
    assert page.count("<article>") == 2


def test_a_round_without_a_mistake_says_so() -> None:
    page = build_page(made(SUMS), only_wrong=True)
    assert "No sum of this round needs to be shown." in page
    assert "<script" not in page


def test_another_language() -> None:
    page = build_page(made(SUMS, [20, 13, 53]), language="de")
    assert '<html lang="de">' in page
    assert "Schritt für Schritt" in page
    assert "zu wenig Finger" in page
    assert "Vielleicht" in page
    assert "Maybe the" not in page
    with pytest.raises(BadInput, match="no phrases in 'tlh'"):
        build_page(made(SUMS), language="tlh")


def test_the_captions_of_the_file_are_the_captions_of_the_page() -> None:
    page = build_page(made(SUMS))
    cues = data_of(page)["sums"][0]["tracks"]["round"]["cues"]
    assert cues == [
        [0.4, 0.9, "teacher", "34"],
        [1.4, 1.9, "teacher", "13"],
        [2.4, 2.9, "teacher", "-22"],
        [3.4, 3.65, "pupil", "word 25"],
    ]


def test_captions_come_from_the_events_whatever_the_file_of_captions_says() -> None:
    session = made(SUMS)
    for other in ("gone", "WEBVTT\n\n00:00:00.500 --> 00:00:01.000\n<v teacher>99\n"):
        assert build_page(replace(session, captions=other)) == build_page(session)


def test_equal_sessions_are_equal_pages() -> None:
    assert build_page(made(SUMS, tones=True)) == build_page(made(SUMS, tones=True))
