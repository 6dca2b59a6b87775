"""What a teacher reads about speed, accuracy and change."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from oralquiz.beads import Sum
from oralquiz.judge.verdict import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.change import Trend
from oralquiz.learn.progress_words import (
    accuracy_change,
    accuracy_words,
    latency_change,
    progress_sentences,
    speed_words,
    thirds_words,
)
from oralquiz.learn.speed import Interval, Third, speed, speed_accuracy

MONDAY = date(2024, 3, 4)
SUM = Sum.parse("34 + 13 - 22")


def some(verdict: Verdict, *latencies: float | None) -> list[Answer]:
    return [Answer(MONDAY, SUM, verdict, None, s) for s in latencies]


def test_a_share_has_its_interval() -> None:
    answers = [*some(Verdict.RIGHT, *[2.0] * 24), *some(Verdict.WRONG, *[2.0] * 6)]
    # Wilson (1927): 24 of 30 is 63 to 90 %
    assert accuracy_words(speed_accuracy(answers)) == "24 of 30 right (63 to 90 %)"
    answers += [*some(Verdict.UNCLEAR, None, None), *some(Verdict.SILENT, None)]
    assert accuracy_words(speed_accuracy(answers)) == (
        "24 of 30 right (63 to 90 %); not counted: 2 not clear, 1 without an answer"
    )
    assert accuracy_words(speed_accuracy(some(Verdict.SILENT, None))) == (
        "nothing judged right or wrong yet; not counted: 1 without an answer"
    )


def test_speed_is_a_half_and_nine_in_ten() -> None:
    assert speed_words(speed(some(Verdict.RIGHT, 1.0, 2.0, 3.0))) == (
        "half of the right answers within 2.0 s"
    )
    many = [1.0 + 0.1 * k for k in range(21)]
    # of 21 values the median's interval by the sign test is from the 6th to the 16th, and the
    # 90 % quantile (Hyndman & Fan 1996, definition 8) the (21 + 1/3) 0.9 + 1/3 = 19.53rd
    assert speed_words(speed(some(Verdict.RIGHT, *many))) == (
        "half of the right answers within 2.0 s (1.5 to 2.5), nine in ten within 2.9 s"
    )
    assert speed_words(speed(some(Verdict.RIGHT, 1.0, 1.1, 1.2, 1.3, 60.0, None, None))) == (
        "half of the right answers within 1.2 s; "
        "1.1 s on average without 1 far from the rest; 2 without a time (typed, or asked twice)"
    )
    assert speed_words(speed([])) == "no right answer was timed yet"


def test_quick_and_slow_stand_beside_right_and_wrong() -> None:
    assert thirds_words([Third(0.9, 10, 4), Third(1.6, 10, 9), Third(3.1, 11, 10)]) == (
        "the quickest third: 4 of 10 right at about 0.9 s; the middle: 9 of 10 right at about "
        "1.6 s; the slowest: 10 of 11 right at about 3.1 s"
    )


@pytest.mark.parametrize(
    ("per_week", "low", "high", "speed_said", "share_said"),
    [
        (-0.3, -0.5, -0.1, "quicker by 0.3 s a week (0.1 to 0.5)",
         "fewer by 30 in 100 a week (10 to 50)"),
        (0.04, 0.01, 0.07, "slower by 0.04 s a week (0.01 to 0.07)",
         "more by 4 in 100 a week (1 to 7)"),
        (-0.1, -0.3, 0.2, "no sure change, between 0.3 s quicker and 0.2 s slower a week",
         "no sure change, between 30 in 100 fewer and 20 in 100 more a week"),
        (0.1, 0.0, 0.2, "no sure change, between no change and 0.20 s slower a week",
         "no sure change, between no change and 20 in 100 more a week"),
        (0.0, 0.0, 0.0, "no change", "no change"),
    ],
)  # fmt: skip
def test_a_change_is_never_bare(
    per_week: float, low: float, high: float, speed_said: str, share_said: str
) -> None:
    trend = Trend(per_week, Interval(low, high), 6)
    assert latency_change(trend) == speed_said
    assert accuracy_change(trend) == share_said


def test_everything_of_one_pupil() -> None:
    answers = [
        Answer(MONDAY + timedelta(days=5 * day), SUM, verdict, None, latency)
        for day in range(6)
        for verdict, latency in (
            (Verdict.RIGHT, 3.0 - 0.2 * day),
            (Verdict.RIGHT, 3.2 - 0.2 * day),
            (Verdict.WRONG, 1.0),
        )
    ]
    answers += some(Verdict.RIGHT, -0.2)
    lines = progress_sentences(answers)
    assert lines[0].startswith("13 of 19 right")
    assert lines[1].startswith("half of the right answers within 2.6 s")
    assert lines[2] == "1 came before the sum was over (1 of them right): not timed"
    assert lines[3].startswith("the quickest third: 0 of 6 right at about 1.0 s")
    assert lines[4].startswith("Speed over the weeks: quicker by 0.3 s a week (0.3 to 0.3)")
    assert lines[5].startswith("Right answers over the weeks: ")
    assert progress_sentences([])[-2:] == (
        "Speed over the weeks: too few days to tell (at least 5)",
        "Right answers over the weeks: too few days to tell (at least 5)",
    )
