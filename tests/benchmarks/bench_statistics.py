"""Do intervals hold what they promise, and how often is a change claimed where there is none?

Coverage: how many of the 95 % intervals hold the true share of right answers, and the true median
of log-normal times (median 2 s, SD 0.5 on the logarithm), those over a deadline cut short.

Right answers: 12 a day, a share of 0.8 on a middling day, good and bad days (SD 0.5 on the logit)
in runs, none of which changes; every third day is practised.

Speed: a pupil's day has a median latency around 2 s (SD 0.3 s); good and bad days come in runs:
each day has the share RHO of its spread in common with the day before. Every third day is
practised. Sen's interval alone stands beside ours. Change where there is one: 0.15 s a week
quicker.

Run: python -m tests.benchmarks.bench_statistics [HISTORIES A ROW, 400 by default]
"""

from __future__ import annotations

import sys
from datetime import date, timedelta

import numpy as np
from scipy import stats

from oralquiz.beads import Sum
from oralquiz.judge import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.change import latency_trend, logistic_trend
from oralquiz.learn.speed import median_interval, share_interval

START = date(2024, 1, 1)
SUM = Sum.parse("34 + 13 - 22")
A_WEEK = -0.15


def held(low: float, high: float, true: float) -> bool:
    return low <= true <= high


def coverage_of_shares(count: int) -> None:
    rng = np.random.default_rng(2)
    for true in (0.6, 0.8, 0.95):
        for of in (20, 60, 200):
            ends = [share_interval(int(hits), of) for hits in rng.binomial(of, true, count)]
            covered = np.mean([held(its.low, its.high, true) for its in ends if its])
            print(f"right answers, true {true:.0%}, {of}: {covered:.1%} of intervals hold it")


def coverage_of_medians(count: int) -> None:
    rng = np.random.default_rng(3)
    for deadlines in ((8.0,), (3.0,), (2.0, 4.0)):
        for of in (12, 40, 120):
            covered = 0
            for _ in range(count):
                times = 2.0 * np.exp(rng.normal(0, 0.5, of))
                ends = rng.choice(deadlines, of)
                in_time = times <= ends
                interval = median_interval(times[in_time], ends[~in_time])
                covered += interval is not None and held(interval.low, interval.high, 2.0)
            told = " or ".join(f"{end:.0f}" for end in deadlines)
            print(f"speed, deadline {told} s, {of} answers: {covered / count:.1%}")


def row_of_shares(rho: float, days: int, count: int) -> None:
    rng = np.random.default_rng(4)
    false = 0
    for _ in range(count):
        logits = np.log(4) + 0.5 * np.array(
            [(day - 2) / 0.3 for day in days_in_runs(days, rho, rng)]
        )
        right = rng.binomial(12, 1 / (1 + np.exp(-logits)))
        weeks_since = np.arange(days, dtype=np.float64) * 3 / 7
        false += logistic_trend(weeks_since, right, np.full(days, 12)).certain
    print(f"right answers, rho {rho}, {days} days: false {false / count:.1%}")


def days_in_runs(days: int, rho: float, rng: np.random.Generator) -> list[float]:
    """A median latency for each day, without any change."""
    found = [float(rng.normal())]
    for fresh in rng.normal(size=days - 1):
        found.append(rho * found[-1] + (1 - rho**2) ** 0.5 * float(fresh))
    return [2 + 0.3 * one for one in found]


def certain(latencies: list[float]) -> bool:
    answers = [
        Answer(START + timedelta(days=3 * k), SUM, Verdict.RIGHT, SUM.answer, latency)
        for k, latency in enumerate(latencies)
    ]
    trend = latency_trend(answers)
    return trend is not None and trend.certain


def sen_alone(latencies: list[float]) -> bool:
    _, _, low, high = stats.theilslopes(latencies, alpha=0.95)
    return not low <= 0 <= high


def row(rho: float, days: int, count: int) -> None:
    rng = np.random.default_rng(1)
    false = alone = found = 0
    for _ in range(count):
        flat = days_in_runs(days, rho, rng)
        false, alone = false + certain(flat), alone + sen_alone(flat)
        found += certain([one + A_WEEK * 3 * k / 7 for k, one in enumerate(flat)])
    shares = [f"{share / count:.1%}" for share in (false, alone, found)]
    print(
        f"speed, rho {rho}, {days} days: false {shares[0]} (Sen alone {shares[1]}), "
        f"found {shares[2]}"
    )


if __name__ == "__main__":
    histories = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    coverage_of_shares(5 * histories)
    coverage_of_medians(5 * histories)
    for rho in (0.0, 0.3, 0.5, 0.7):
        for days in (8, 16, 24):
            row_of_shares(rho, days, 5 * histories)
            row(rho, days, histories)
