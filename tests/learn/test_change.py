from datetime import date, timedelta
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, stats

from oralquiz.beads import Sum
from oralquiz.judge.verdict import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.change import (
    HALF,
    accuracy_trend,
    latency_trend,
    logistic_trend,
    weeks,
)
from tests.sizes import size

pytestmark = pytest.mark.slow

MONDAY = date(2024, 3, 4)
SUM = Sum.parse("34 + 13 - 22")


def day(number: int, latency: float, right: int = 4, wrong: int = 1) -> list[Answer]:
    when = MONDAY + timedelta(days=number)
    return [
        *(Answer(when, SUM, Verdict.RIGHT, 25, latency + 0.1 * i) for i in range(right)),
        *(Answer(when, SUM, Verdict.WRONG, 20, latency) for _ in range(wrong)),
    ]


def test_weeks_begin_on_monday_and_empty_ones_are_left_out() -> None:
    found = weeks([*day(20, 1.0), *day(0, 2.0), *day(6, 2.0)])  # a Sunday, a Monday, a Sunday
    assert [week.monday for week in found] == [MONDAY, MONDAY + timedelta(days=14)]
    assert [week.days for week in found] == [2, 1]
    assert found[0].found.right == 8 and found[0].found.wrong == 2


def test_the_slope_is_the_median_of_all_slopes() -> None:
    # Theil (1950), Sen (1968): the definition, written out here
    medians = {0: 2.0, 3: 2.1, 7: 1.7, 10: 1.5, 14: 1.6, 21: 1.0}
    answers = [answer for number, m in medians.items() for answer in day(number, m - 0.15)]
    found = latency_trend(answers)
    slopes = [
        (medians[b] - medians[a]) / ((b - a) / 7) for a, b in combinations(sorted(medians), 2)
    ]
    assert found is not None
    assert found.days == 6
    assert found.per_week == pytest.approx(float(np.median(slopes)))
    assert found.interval.low <= found.per_week <= found.interval.high
    assert not found.certain  # six days, not all in one direction


def test_a_steady_change_is_certain() -> None:
    found = latency_trend([a for n in range(6) for a in day(5 * n, 3.0 - 0.2 * n)])
    assert found is not None
    assert found.per_week == pytest.approx(-0.28)
    assert found.interval.high < 0 and found.certain


def test_no_change_is_claimed_from_noise() -> None:
    rng = np.random.default_rng(2)
    claimed, count = 0, size(100, 200)
    for _ in range(count):
        answers = [a for n in range(0, 40, 4) for a in day(n, float(rng.lognormal(0.5, 0.3)))]
        found = latency_trend(answers)
        assert found is not None
        claimed += found.certain
    assert claimed / count < 0.09  # a 95 % interval allows one in twenty


def test_too_few_days_for_any_claim() -> None:
    answers = [answer for number in (0, 7, 14, 21) for answer in day(number, 3.0 - number / 10)]
    assert latency_trend(answers) is None
    assert accuracy_trend(answers) is None
    assert latency_trend([]) is None


def test_accuracy_grows() -> None:
    answers = [a for n in range(6) for a in day(7 * n, 1.0, right=4 + n, wrong=6 - n)]
    found = accuracy_trend(answers)
    assert found is not None
    # 10 answers a day, 4 to 9 right: the linear slope is 0.1, the logistic one at the mean near it
    assert found.per_week == pytest.approx(0.1, abs=0.01)
    assert found.certain


def test_the_share_is_fitted_by_maximum_likelihood() -> None:
    weeks_since, right, judged = np.arange(6.0), np.array([2, 9, 4, 8, 7, 9]), np.full(6, 10)

    def loss(
        line: NDArray[np.float64],
    ) -> float:  # written out, with the quarters that each day is given
        logits = line[0] + line[1] * weeks_since
        lost = (right + HALF) * np.logaddexp(0, -logits)
        return float((lost + (judged - right + HALF) * np.logaddexp(0, logits)).sum())

    best = optimize.minimize(loss, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-8})
    found = logistic_trend(weeks_since, right, judged)
    mean = float((right + HALF).sum() / (judged + 2 * HALF).sum())
    assert found.per_week == pytest.approx(best.x[1] * mean * (1 - mean), rel=1e-3)


def test_good_and_bad_days_are_not_a_change() -> None:
    rng, claimed = np.random.default_rng(3), 0
    for _ in range(200):
        chances = 1 / (1 + np.exp(-(1.4 + rng.normal(0, 0.7, 10))))
        found = logistic_trend(np.arange(10) / 2, rng.binomial(12, chances), np.full(10, 12))
        claimed += found.certain
    assert claimed / 200 < 0.09


def test_days_that_all_went_right_say_little() -> None:
    found = accuracy_trend([a for n in range(6) for a in day(7 * n, 1.0, right=5, wrong=0)])
    assert found is not None and not found.certain
    assert found.per_week == pytest.approx(0, abs=1e-9)


def test_days_without_a_right_answer_say_nothing_about_speed() -> None:
    answers = [a for n in range(5) for a in day(n, 1.0)] + day(5, 1.0, right=0, wrong=3)
    speed, accuracy = latency_trend(answers), accuracy_trend(answers)
    assert speed is not None and speed.days == 5
    assert accuracy is not None and accuracy.days == 6


def test_good_and_bad_days_in_runs_are_less_sure() -> None:
    """The same days: one order has runs, the other turns up and down from day to day."""
    runs = [2.0, 2.1, 2.2, 2.2, 2.1, 1.7, 1.5, 1.4, 1.5, 1.7]
    mixed = [2.0, 1.5, 2.2, 1.4, 2.1, 1.7, 2.1, 1.5, 2.2, 1.7]
    widths = []
    for latencies in (runs, mixed):
        found = latency_trend([a for n, s in enumerate(latencies) for a in day(3 * n, s)])
        assert found is not None
        medians = [float(np.median([s + 0.1 * i for i in range(4)])) for s in latencies]
        _, _, low, high = stats.theilslopes(medians, [3 * n / 7 for n in range(10)], alpha=0.95)
        widths.append((found.interval.high - found.interval.low) / float(high - low))
    assert widths[0] > 1.5
    assert widths[1] < 1.2
