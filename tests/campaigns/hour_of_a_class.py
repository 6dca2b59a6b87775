"""An hour of a class: the same pupils in one round after another, and what it does to the server.

    python -m tests.campaigns.hour_of_a_class [--minutes 60] [--pupils 30] [--sums 4]

Clients and server are those of `bench_web`. One line for each round: the answers given, how many
were heard as they were said, how many got no verdict, how late the verdicts were, what a pupil
cost, the memory of the server and its helpers at the round's end and when the helpers have ended,
and how many of them are left once they have had time for that. Ends with status 1 when an answer is
lost, a helper is left behind, or the memory after the last round is more than a tenth above that
after the third.
"""

from __future__ import annotations

import argparse
import asyncio
import time
from contextlib import aclosing
from pathlib import Path

import numpy as np

from oralquiz.speak.engine import IDLE_S
from tests.benchmarks.bench_web import (
    Held,
    classroom,
    family,
    heard_as_said,
    memory,
    served,
    waits_s,
)

SETTLED = 3
"""Rounds after which the memory is expected to stay level."""
GROWTH = 1.1


def helpers(pid: int) -> int:
    """Child processes of ``pid`` (Linux)."""
    return len(family(pid)) - 1


async def helpers_left(pid: int) -> int:
    """Helpers of ``pid`` that are still there when all of them should have ended."""
    until = time.monotonic() + 2 * IDLE_S
    while (left := helpers(pid)) and time.monotonic() < until:
        await asyncio.sleep(0.5)
    return left


HEAD = "round given heard lost   p50 s   p95 s   max s  ms/pupil  MB at its end  MB after  helpers"


async def line(number: int, held: Held, pid: int) -> tuple[str, bool]:
    """A row of the table, and whether every answer got its verdict and no helper is left."""
    waits = waits_s(held.pupils)["any verdict"]
    given = sum(len(pupil.said) for pupil in held.pupils)
    lost, left = given - len(waits), await helpers_left(pid)
    middle, late = np.quantile(waits, (0.5, 0.95))
    cost = 1000 * held.load / len(held.pupils)
    row = (
        f"{number:5} {given:5} {heard_as_said(held):5} {lost:4} {middle:7.2f} {late:7.2f} "
        f"{max(waits):7.2f} {cost:9.1f} {held.memory:14.0f} {memory(pid):9.0f} {left:8}"
    )
    return row, not lost and not left


async def campaign(url: str, names: list[str], sums: int, pid: int, minutes: float) -> bool:
    """Hold rounds for ``minutes``. Returns whether all went well."""
    print(HEAD, flush=True)
    memories: list[float] = []
    until, well = time.monotonic() + 60 * minutes, True
    async with aclosing(classroom(url, names, sums, pid)) as rounds:
        async for held in rounds:
            row, good = await line(len(memories) + 1, held, pid)
            print(row, flush=True)
            memories.append(memory(pid))
            well = well and good
            if time.monotonic() > until:
                break
    if len(memories) <= SETTLED:
        return well
    grown = memories[-1] / memories[SETTLED - 1]
    print(f"memory after the last round: {grown:.2f} of that after round {SETTLED}")
    return well and grown <= GROWTH


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--pupils", type=int, default=30)
    parser.add_argument("--sums", type=int, default=4)
    wanted = parser.parse_args()
    names = [f"Pupil {number:02}" for number in range(wanted.pupils)]
    with served(names) as (url, pid):
        well = asyncio.run(campaign(url, names, wanted.sums, pid, wanted.minutes))
        there = family(pid)
    left = [one for one in there if Path(f"/proc/{one}").exists()]
    print(f"processes left after the server has ended: {len(left)}")
    raise SystemExit(0 if well and not left else 1)


if __name__ == "__main__":
    main()
