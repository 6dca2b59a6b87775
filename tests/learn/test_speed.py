from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from oralquiz.beads import Sum
from oralquiz.judge.verdict import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.speed import median_interval, share_interval, speed, speed_accuracy, within

pytestmark = pytest.mark.slow

DAY = date(2024, 3, 4)
SUM = Sum.parse("34 + 13 - 22")


def right(*latencies: float | None) -> list[Answer]:
    return [Answer(DAY, SUM, Verdict.RIGHT, 25, latency) for latency in latencies]


def wrong(*latencies: float | None) -> list[Answer]:
    return [Answer(DAY, SUM, Verdict.WRONG, 20, latency) for latency in latencies]


SILENT = [Answer(DAY, SUM, Verdict.SILENT)]
UNCLEAR = [Answer(DAY, SUM, Verdict.UNCLEAR, None, 1.0)]


def test_only_right_answers_are_timed() -> None:
    found = speed([*right(1.0, 2.0, 3.0), *wrong(9.0), *SILENT, *UNCLEAR])
    assert (found.right, found.timed, found.early) == (3, 3, 0)
    assert found.median == 2.0


def test_early_and_missing_latencies_are_counted_not_averaged() -> None:
    # a voice before the end of the term (-0.4 s) or straight after it (0.05 s) is no reaction to it
    found = speed(right(-0.4, 0.05, 0.1, 1.0, 2.0, None))
    assert (found.right, found.timed, found.early) == (6, 3, 2)
    assert found.median == 1.0


def test_nothing_timed() -> None:
    found = speed([*right(None), *SILENT])
    assert found.right == 1 and found.timed == 0
    assert found.median is None and found.trimmed_mean is None and found.quantiles == ()


def test_outliers_leave_the_mean_but_not_the_median() -> None:
    found = speed(right(1.0, 1.1, 1.2, 1.3, 1.4, 20.0))
    assert found.trimmed == 1
    assert found.trimmed_mean == pytest.approx(1.2)
    assert found.median == pytest.approx(1.25)


def test_equal_latencies_have_no_outlier() -> None:
    assert list(within(np.array([1.0, 1.0, 1.0, 5.0]))) == [1.0, 1.0, 1.0, 5.0]


@given(st.lists(st.floats(0.1, 30), min_size=1, max_size=60))
def test_quantiles_are_those_of_scipy(latencies: list[float]) -> None:
    # reference: scipy.stats.mstats.mquantiles, alphap = betap = 1/3 (Hyndman & Fan's type 8)
    found = speed(right(*latencies))
    reference = stats.mstats.mquantiles(
        latencies, [0.1, 0.25, 0.5, 0.75, 0.9], alphap=1 / 3, betap=1 / 3
    )
    assert found.quantiles == pytest.approx(list(reference))


@given(st.lists(st.floats(0.2, 30), min_size=3, max_size=60))
def test_trimming_is_by_the_scaled_deviation_of_scipy(latencies: list[float]) -> None:
    # reference: scipy.stats.median_abs_deviation(scale="normal") of the logarithms
    values = np.array(latencies)
    logs = np.log(values)
    spread = stats.median_abs_deviation(logs, scale="normal")
    off = np.abs(logs - np.median(logs))
    clear = np.abs(off - 3 * spread) > 1e-3  # 1.4826 is rounded
    kept = within(values)
    if spread > 1e-6:
        assert set(values[clear & (off < 3 * spread)]) <= set(kept)
        assert not set(values[clear & (off > 3 * spread)]) & set(kept)


def test_the_interval_of_a_median_holds_it_as_often_as_it_says() -> None:
    rng = np.random.default_rng(1)
    inside = 0
    for _ in range(500):
        sample = rng.lognormal(0.3, 0.5, size=15)
        interval = median_interval(sample)
        assert interval is not None
        inside += interval.low <= np.exp(0.3) <= interval.high
    # order statistics are discrete: at least 95 % is promised, 96.5 % is what 15 values give
    assert 0.94 <= inside / 500 <= 0.99


def test_too_few_for_an_interval() -> None:
    assert median_interval(np.array([1.0, 2.0, 3.0, 4.0, 5.0])) is None
    interval = median_interval(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]))
    assert interval is not None and (interval.low, interval.high) == (1.0, 6.0)


def test_wilsons_interval() -> None:
    # Wilson (1927) by his formula, z = 1.959964: 8 of 10
    z, n, p = 1.959964, 10, 0.8
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5
    found = share_interval(8, 10)
    assert found is not None
    assert (found.low, found.high) == pytest.approx((centre - half, centre + half), abs=1e-6)
    assert share_interval(0, 0) is None


def test_speed_and_accuracy_stand_together() -> None:
    found = speed_accuracy([*right(1.0, 1.2, 1.4), *wrong(0.5), *SILENT, *UNCLEAR])
    assert (found.right, found.wrong, found.unclear, found.silent) == (3, 1, 1, 1)
    assert found.accuracy == 0.75
    assert found.accuracy_interval is not None and found.accuracy_interval.low < 0.75
    assert found.speed.median == 1.2
    assert found.thirds == ()  # too few to split


def test_a_pupil_who_is_wrong_when_quick_is_hasty() -> None:
    found = speed_accuracy([*wrong(0.5, 0.6, 0.7), *right(1.0, 1.1, 1.2, 2.0, 2.1, 2.2)])
    assert [(third.latency_s, third.count, third.right) for third in found.thirds] == [
        (0.6, 3, 0),
        (1.1, 3, 3),
        (2.1, 3, 3),
    ]


def test_early_answers_show_whether_they_were_right() -> None:
    found = speed_accuracy([*right(-0.2, 1.0), *wrong(-0.5, -0.1)])
    assert (found.early, found.early_right) == (3, 1)


def test_no_answers_at_all() -> None:
    found = speed_accuracy([])
    assert found.accuracy is None and found.accuracy_interval is None
    assert found.speed.median is None and found.thirds == ()
