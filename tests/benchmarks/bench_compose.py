"""Composing against drawing at random and rejecting, side by side, from easy to nearly impossible.

    python tests/benchmarks/bench_compose.py [--seconds 5]

Each row runs in a process of its own: the time from the request to a table that can be drawn from
(set-up, in wall-clock and CPU time), sums a second after that as an array, and peak memory. The
naive way draws every term uniformly from the terms of the right length and keeps a chain if it
satisfies the request. It is given the composer's own table of plays, ready made, and checks a
million chains at once with NumPy, so what is compared is the method and not the language. It runs
for --seconds; where it finds nothing, its rate is below one in that time and the ratio is a lower
bound. "one in" is the number of chains of terms, kept or not, for each that satisfies the request.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import time
from dataclasses import replace
from multiprocessing.connection import Connection

import numpy as np

from oralquiz.compose import Drill, Request, load_syllabus, request_for
from oralquiz.compose.composed import sampler_for
from oralquiz.compose.plays import plays_for, terms_of

COURSE = load_syllabus()


def requests() -> dict[str, Request]:
    five1 = request_for(COURSE, "five:+1", uses=3)
    return {
        "2 col, 5 terms: direct": request_for(COURSE, "direct"),
        "2 col, 5 terms: five:+3 once": request_for(COURSE, "five:+3"),
        "2 col, 5 terms: five:+4 three times": request_for(COURSE, "five:+4", uses=3),
        "2 col, 5 terms: five:-1 three times": request_for(COURSE, "five:-1", uses=3),
        "2 col, 5 terms: ten:+9 three times": request_for(COURSE, "ten:+9", uses=3),
        "2 col, 5 terms: five:+1 three times": five1,
        "  and the answer 50": replace(five1, answer=(50, 50)),
        "2 col, 5 terms: ten:+1 twice": request_for(COURSE, "ten:+1", uses=2),
        "2 col, 10 terms: ten:+1 three times": request_for(COURSE, "ten:+1", uses=3, terms=10),
        "2 col, 20 terms: both:-9 three times": request_for(COURSE, "both:-9", uses=3, terms=20),
        "3 col, 5 terms: both:-9 three times": request_for(
            COURSE, "both:-9", uses=3, columns=3, digits=(1, 3)
        ),
        "3 col, 10 terms: both:-9 three times": request_for(
            COURSE, "both:-9", uses=3, columns=3, digits=(1, 3), terms=10
        ),
        "3 col, 10 terms: any rule, 3 minus": Request(
            columns=3, terms=10, digits=(1, 3), minus=(3, 3)
        ),
        "5 col, 5 terms: ten:+1 twice (estimate)": request_for(
            load_syllabus("bead-frame"),
            "five-columns",
            drills=(Drill(request_for(COURSE, "ten:+1").drills[0].rules, 2),),
        ),
    }


def composer(request: Request, seconds: float) -> tuple[str, float, float, float, float]:
    """The count, set-up in wall-clock and CPU seconds, sums a second, the count's value."""
    start, start_cpu = time.perf_counter(), time.process_time()
    sampler = sampler_for(request)
    setup, setup_cpu = time.perf_counter() - start, time.process_time() - start_cpu
    count = sampler.count()
    rng = np.random.Generator(np.random.PCG64(1))
    batch = 20_000 if request.columns <= 3 else 500
    drawn = 0
    start = time.perf_counter()
    while time.perf_counter() - start < seconds / 5:
        drawn += len(sampler.draw(batch, rng))
    rate = drawn / (time.perf_counter() - start)
    return str(count).split(" (")[0], setup, setup_cpu, rate, count.estimate


def naive(request: Request, seconds: float) -> float | None:
    """Sums a second by drawing at random and rejecting; None where its table cannot be held."""
    if request.columns > 3:
        return None
    plays, terms = plays_for(request), terms_of(request)
    totals = request.highest - request.lowest + 1
    play_of = np.full((totals, len(terms)), -1)
    play_of[plays.before, np.searchsorted(terms, plays.term)] = np.arange(len(plays))
    uses = plays.uses[0] if plays.uses else np.zeros(len(plays), dtype=np.int64)
    wanted = request.drills[0].uses if request.drills else 0
    low, high = request.answer or (request.lowest, request.highest)
    fewest, most = request.minus or (0, request.terms)
    rng = np.random.Generator(np.random.PCG64(2))
    kept = 0
    start = time.perf_counter()
    while time.perf_counter() - start < seconds:
        total = np.zeros(1_000_000, dtype=np.int64)
        used = np.zeros_like(total)
        minus = np.zeros_like(total)
        before = np.zeros_like(total)
        for _ in range(request.terms):
            choice = rng.integers(len(terms), size=len(total))
            term, play = terms[choice], play_of[total, choice]
            alive = (play >= 0) & (np.abs(term) != np.abs(before))
            play, term = play[alive], term[alive]
            total, used, minus = plays.after[play], used[alive] + uses[play], minus[alive]
            minus = minus + (term < 0)
            before = term
        fits = (used >= wanted) & (total >= low) & (total <= high)
        kept += int((fits & (minus >= fewest) & (minus <= most)).sum())
    return kept / (time.perf_counter() - start)


def measure(name: str, seconds: float, pipe: Connection) -> None:
    request = requests()[name]
    text, setup, setup_cpu, rate, count = composer(request, seconds)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024  # MB on Linux
    chains = float(len(terms_of(request))) ** request.terms
    pipe.send((text, chains / count, setup, setup_cpu, rate, peak, naive(request, seconds)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=5.0, help="for each naive run")
    seconds = parser.parse_args().seconds
    context = multiprocessing.get_context("spawn")
    print(
        f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; numpy {np.__version__}"
    )
    print(
        f"{'request':40} {'sums there are':>19} {'one in':>8} {'set-up':>8} {'CPU':>7} "
        f"{'sums/s':>9} {'peak':>7} {'naive/s':>9} {'ratio':>10}"
    )
    for name in requests():
        receive, send = context.Pipe(duplex=False)
        process = context.Process(target=measure, args=(name, seconds, send))
        process.start()
        text, one_in, setup, cpu, rate, peak, naive_rate = receive.recv()
        process.join()
        if naive_rate is None:
            rejected, ratio = "-", "-"
        elif naive_rate == 0:
            rejected, ratio = f"< {1 / seconds:.2f}", f"> {rate * seconds:.0e}"
        else:
            rejected, ratio = f"{naive_rate:,.1f}", f"{rate / naive_rate:,.1f}"
        print(
            f"{name:40} {text:>19} {one_in:>8.0e} {setup:>6.3f} s {cpu:>5.2f} s {rate:>9,.0f} "
            f"{peak:>4.0f} MB {rejected:>9} {ratio:>10}"
        )


if __name__ == "__main__":
    main()
