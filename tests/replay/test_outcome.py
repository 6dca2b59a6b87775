"""What came of a turn, in words."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace

import pytest

from oralquiz.judge.verdict import Verdict
from oralquiz.replay.local_dates import local_date, local_time
from oralquiz.replay.outcome import heard_words
from oralquiz.replay.page import build_page
from oralquiz.replay.step_words import phrases
from oralquiz.rounds.progress import Answered, Attempt, Correction
from tests.replay.made import made

ENGLISH = phrases("en")


def turn(
    verdict: Verdict,
    value: int | None,
    *,
    words: str = "",
    typed: bool = False,
    ear: tuple[Verdict, int | None] | None = None,
) -> Answered:
    """The answer to 12 + 21 as the machine heard it, and as the teacher's ear heard it."""
    (one,) = made(["12 + 21"]).turns
    attempt = Attempt(words, (), None, None, verdict, value, None, typed)
    corrections = (Correction(*ear, "teacher", "2026-01-05"),) if ear else ()
    return replace(one, attempts=(attempt,), corrections=corrections)


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (turn(Verdict.WRONG, 30, words="thirty"), "Heard: 30"),
        (turn(Verdict.WRONG, 30, typed=True), "Typed: 30"),
        (turn(Verdict.SILENT, None), "Nothing heard"),
        # a voice, but no number that the frame can show
        (
            turn(Verdict.UNCLEAR, None, words="one hundred and seventy two"),
            "Heard: “one hundred and seventy two”",
        ),
        (turn(Verdict.UNCLEAR, None, words="[unk] seven hundred"), "Heard: “… seven hundred”"),
        # the teacher's ear, with a number and without
        (turn(Verdict.WRONG, 30, ear=(Verdict.RIGHT, 33)), "Heard: 33"),
        (turn(Verdict.WRONG, 30, ear=(Verdict.RIGHT, None)), "Heard: 33"),
        (turn(Verdict.WRONG, 30, typed=True, ear=(Verdict.RIGHT, None)), "Heard: 33"),
        (turn(Verdict.RIGHT, 33, ear=(Verdict.WRONG, None)), "Nothing heard"),
        (turn(Verdict.UNCLEAR, 30, ear=(Verdict.WRONG, None)), "Heard: 30"),
        (turn(Verdict.WRONG, 30, words="a cough", ear=(Verdict.SILENT, None)), "Nothing heard"),
    ],
)
def test_what_was_heard(one: Answered, said: str) -> None:
    assert heard_words(one, ENGLISH) == said


@pytest.fixture
def far_east(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "XYZ-09")  # nine hours ahead of Greenwich, in POSIX notation
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("far_east")
def test_days_are_those_of_the_local_calendar() -> None:
    evening = "2026-01-05T18:30:00+00:00"
    assert local_time(evening) == "2026-01-06 03:30"
    assert local_date(evening) == "2026-01-06"
    assert local_date("yesterday, at noon") == "yesterday,"
    session = made(["12 + 21"])
    session = replace(session, round=replace(session.round, created=evening))
    assert "2026-01-06, one number every" in build_page(session)
