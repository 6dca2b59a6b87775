"""How often is a change of speed claimed where there is none, and found where there is one?

A pupil's day has a median latency around 2 s (SD 0.3 s); good and bad days come in runs: each day
has the share RHO of its spread in common with the day before. Every third day is practised.
Sen's interval alone stands beside ours. Change where there is one: 0.15 s a week quicker.

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
from oralquiz.learn.change import latency_trend

START = date(2024, 1, 1)
SUM = Sum.parse("34 + 13 - 22")
A_WEEK = -0.15


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
    print(f"rho {rho}, {days} days: false {shares[0]} (Sen alone {shares[1]}), found {shares[2]}")


if __name__ == "__main__":
    histories = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    for rho in (0.0, 0.3, 0.5, 0.7):
        for days in (8, 16, 24):
            row(rho, days, histories)
