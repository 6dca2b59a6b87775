"""When the moves happen on the recording."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import Sum
from oralquiz.replay.story import tell
from oralquiz.replay.timing import LEAD_S, Timing, time_turn
from tests.replay.made import RATE, made


def timed(text: str, pace_s: float = 1.0, answer: int | None = None) -> Timing:
    session = made([text], None if answer is None else [answer], pace_s=pace_s)
    turn = session.turns[0]
    story = tell(turn.sum, 2)
    return time_turn(turn, story, RATE, len(session.audio))


def test_a_clip_begins_shortly_before_the_first_term() -> None:
    timing = timed("34 + 13")
    assert [mark.onset for mark in timing.terms] == pytest.approx([LEAD_S, LEAD_S + 1.0])
    assert timing.terms[0].offset == pytest.approx(LEAD_S + 0.5)
    assert timing.answers[0].onset == pytest.approx(LEAD_S + 2.0)
    assert timing.answer_at == pytest.approx(LEAD_S + 2.0)


def test_moves_share_the_time_of_their_term() -> None:
    timing = timed("34 + 13")
    first, second, third, fourth = timing.beats
    assert first.slot == pytest.approx(0.4)  # the card is up when the term begins
    assert first.start == pytest.approx(0.65)  # it moves once half the term is heard
    assert second.start == pytest.approx(0.65 + 0.375)
    assert (third.slot, third.start) == pytest.approx((1.4, 1.65))
    assert fourth.end < timing.answer_at


@given(
    st.lists(st.integers(1, 9), min_size=1, max_size=5),
    st.floats(0.3, 5.0),
    st.integers(-4000, 20_000),
)
def test_cards_follow_each_other_whatever_the_pace_and_however_early_the_answer(
    terms: list[int], pace_s: float, early: int
) -> None:
    session = made([str(Sum(tuple(terms)))], pace_s=pace_s)
    turn = session.turns[0]
    attempt = turn.attempts[0]
    assert attempt.onset is not None
    assert attempt.offset is not None
    moved = replace(attempt, onset=attempt.onset - early, offset=attempt.offset - early)
    turn = replace(turn, attempts=(moved,))
    timing = time_turn(turn, tell(turn.sum, 2), RATE, len(session.audio))
    for beat, after in pairwise(timing.beats):
        assert 0 < beat.slot <= beat.start < beat.end < after.start
        assert beat.end <= after.slot
    assert timing.beats[-1].end < timing.answer_at < timing.duration


def test_what_was_not_dictated_to_its_end_can_still_be_shown() -> None:
    turn = replace(made(["34 + 13"]).turns[0], terms=(), attempts=())
    timing = time_turn(turn, tell(turn.sum, 2), RATE, 0)
    assert (timing.first, timing.last) == (0, 0)
    assert len(timing.beats) == 4
    assert timing.beats[-1].end < timing.answer_at < timing.duration
