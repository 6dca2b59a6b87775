"""The answer to one sum, without a round around it; with one: test_runner."""

from __future__ import annotations

import numpy as np
import pytest

from oralquiz.judge.verdict import Next, Verdict
from oralquiz.rounds.answering import Answering
from oralquiz.rounds.events import Heard, Judged
from oralquiz.rounds.round import Options
from oralquiz.sound.blocks import BLOCK, samples_in
from tests.session.room import MUMBLE, PulseRecognizer, make_round, pulse

ENDS = samples_in(2.0)


def answering(options: Options | None = None) -> Answering:
    """Listens from the end of "9 + 4" on."""
    (turn,) = make_round("9 + 4").turns
    options = options or Options(answer_within_s=1.0)
    found = Answering(0, turn, 99, ENDS, options, PulseRecognizer())
    found.listen(ENDS)
    return found


def say(answer: Answering, value: int | None, at: int, for_s: float = 2.0) -> list[Heard | Judged]:
    """What comes of it when ``value`` is said 0.1 s after ``at`` (None: nothing)."""
    sound = np.zeros(samples_in(for_s), np.float32)
    if value is not None:
        said = pulse(value)
        sound[samples_in(0.1) : samples_in(0.1) + len(said)] = said
    events: list[Heard | Judged] = []
    for start in range(0, len(sound), BLOCK):
        if answer.next is None:
            events += answer.hear(sound[start : start + BLOCK], at + start + BLOCK)
    return events


@pytest.mark.parametrize(
    ("value", "verdict", "latency_s", "follows"),
    [
        (13, Verdict.RIGHT, 0.1, Next.GO_ON),
        (7, Verdict.WRONG, 0.1, Next.GO_ON),
        (MUMBLE, Verdict.UNCLEAR, 0.1, Next.ASK_AGAIN),
        (None, Verdict.SILENT, None, Next.GO_ON),
    ],
)
def test_an_answer_is_heard_then_judged(
    value: int | None, verdict: Verdict, latency_s: float | None, follows: Next
) -> None:
    answer = answering()
    heard, judged = say(answer, value, ENDS)
    assert isinstance(heard, Heard) and isinstance(judged, Judged)
    assert (judged.verdict, judged.latency_s) == (verdict, latency_s)
    assert answer.next is follows


def test_a_second_attempt_has_its_own_time_and_no_latency() -> None:
    answer = answering()
    say(answer, MUMBLE, ENDS)
    again = ENDS + samples_in(10.0)
    answer.listen_again(again)
    heard, judged = say(answer, 13, again)
    assert isinstance(heard, Heard) and isinstance(judged, Judged)
    assert heard.onset == again + samples_in(0.1)
    assert (judged.attempt, judged.verdict, judged.latency_s) == (1, Verdict.RIGHT, None)


def asked_about(sum_: str, value: int) -> tuple[Answering, Judged, int]:
    """``value`` said to ``sum_``, at the first moment at which it is asked about once more; its
    verdict and the sample at which that was known."""
    (turn,) = make_round(sum_).turns
    for moment in range(100):
        begins = ENDS + moment
        answer = Answering(0, turn, 99, ENDS, Options(), PulseRecognizer())
        answer.listen(ENDS)
        said = np.concatenate([np.zeros(begins - ENDS + BLOCK, np.float32), pulse(value)])
        sound = np.concatenate([said, np.zeros(samples_in(2.0) - len(said) % BLOCK, np.float32)])
        for start in range(0, len(sound) - BLOCK, BLOCK):
            for event in answer.hear(sound[start : start + BLOCK], ENDS + start + BLOCK):
                if isinstance(event, Judged) and answer.next is Next.ASK_AGAIN:
                    return answer, event, start - moment // BLOCK * BLOCK
            if answer.next is not None:
                break
    raise AssertionError(f"{value} was never asked about")


def test_a_right_answer_is_asked_about_just_as_a_part_of_it_is() -> None:
    answer, right, when = asked_about("20 + 30", 50)
    _, part, when_part = asked_about("20 + 31", 50)
    assert (right.verdict, right.value, part.verdict) == ("unclear", 50, "unclear")
    assert (right.right_probability or 0) > 0.99
    assert when == when_part  # no sooner and no later
    again = ENDS + samples_in(10.0)
    answer.listen_again(again)
    judged = say(answer, None, again, for_s=9.0)[-1]
    assert isinstance(judged, Judged)
    assert (judged.verdict, judged.value, answer.next) == (Verdict.RIGHT, 50, Next.GO_ON)
