"""Times of which some were cut short at a deadline."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from oralquiz.beads import Sum
from oralquiz.judge.verdict import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.cut_times import Times, median_ends, quantiles
from oralquiz.learn.progress_words import speed_words
from oralquiz.learn.speed import speed
from tests.sizes import size

NONE: Times = np.array([])


def cut_at(deadline: float, times: list[float]) -> tuple[Times, Times]:
    over = np.array([time for time in times if time <= deadline])
    return over, np.full(len(times) - len(over), deadline)


def test_the_published_example_of_times_cut_short() -> None:
    # weeks in remission under 6-MP (Freireich et al. 1963, the textbook example of the method,
    # from memory): the estimate is 0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448 at 6, 7, 10,
    # 13, 16, 22, 23 weeks, so its median is 23
    timed = np.array([6, 6, 6, 7, 10, 13, 16, 22, 23], dtype=float)
    cut = np.array([6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35], dtype=float)
    assert quantiles(timed, cut, (0.1, 0.25, 0.5, 0.75)) == (6.0, 13.0, 23.0, None)
    ends = median_ends(timed, cut, 0.95)
    assert ends == (13.0, math.inf)


def test_what_lies_beyond_the_deadline_is_not_known() -> None:
    timed, cut = cut_at(3.0, [1.0, 2.0, 3.5, 4.0, 5.0, 6.0])
    assert quantiles(timed, cut, (0.25, 0.5)) == (2.0, None)
    assert median_ends(timed, cut, 0.95) == (1.0, math.inf)
    assert quantiles(NONE, cut, (0.5,)) == ()


@pytest.mark.parametrize("deadline", [2.8, *size([], [4.0])])
def test_the_median_is_that_of_all_sums_and_its_interval_holds_it(deadline: float) -> None:
    rng, inside, medians = np.random.default_rng(4), 0, []
    for _ in range(300):
        timed, cut = cut_at(deadline, list(rng.lognormal(np.log(2.5), 0.5, size=41)))
        (median,) = quantiles(timed, cut, (0.5,))
        ends = median_ends(timed, cut, 0.95)
        assert ends is not None
        inside += ends[0] <= 2.5 <= ends[1]
        medians.append(math.inf if median is None else median)
    assert np.median(medians) == pytest.approx(2.5, abs=0.06)
    assert 0.93 <= inside / 300 <= 0.99  # of an exact interval: at least 95 %


def test_sums_without_an_answer_count_as_slower() -> None:
    day, terms = date(2024, 3, 4), Sum.parse("34 + 13 - 22")
    right = [Answer(day, terms, Verdict.RIGHT, 25, 1.0 + k / 10, deadline_s=3.0) for k in range(11)]
    silent = [Answer(day, terms, Verdict.SILENT, deadline_s=3.0)] * 8
    found = speed([*right, *silent])
    assert (found.timed, found.cut, found.median) == (11, 8, 1.9)
    assert speed_words(found) == (
        "half of the right answers within 1.9 s (1.4 or more); "
        "counted as slower: 8 without an answer in the time allowed"
    )
    assert speed_words(speed([*right[:2], *silent])).startswith(
        "fewer than half of the sums were answered in the time allowed; counted as slower: 8"
    )
