"""What every campaign shares: its command line, its count of what was tried, its table."""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field

MOST_SHOWN = 20
"""Failures that are listed one by one."""


@dataclass
class Tally:
    """Outcomes by what was tried. ``failures`` say what went wrong, so that it can be repeated with
    ``seed``."""

    seed: int
    outcomes: defaultdict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    failures: list[str] = field(default_factory=list)

    @property
    def tried(self) -> int:
        return sum(sum(found.values()) for found in self.outcomes.values())

    def add(self, what: str, outcome: str, times: int = 1) -> None:
        self.outcomes[what][outcome] += times

    def fail(self, what: str, why: str) -> None:
        self.add(what, "FAILED")
        self.failures.append(f"{what}: {why}")

    def table(self) -> str:
        """One line for everything that was tried."""
        width = max(map(len, self.outcomes), default=0)
        lines = [
            f"{what:<{width}}  {sum(found.values()):>7}  "
            + ", ".join(f"{outcome} {count}" for outcome, count in sorted(found.items()))
            for what, found in sorted(self.outcomes.items())
        ]
        return "\n".join([*lines, f"{'in all':<{width}}  {self.tried:>7}  seed {self.seed}"])


def command(campaign: Callable[[int, int], Tally], count: int) -> None:
    """Run a campaign of ``count`` (--count) with --seed and print its table; exit 1 if anything
    failed."""
    parser = argparse.ArgumentParser(description=sys.modules[campaign.__module__].__doc__)
    parser.add_argument("--count", type=int, default=count)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    begun = time.monotonic()
    tally = campaign(asked.count, asked.seed)
    print(tally.table())
    print(f"{time.monotonic() - begun:.0f} s, {len(tally.failures)} failed")
    for failure in tally.failures[:MOST_SHOWN]:
        print("FAILED", failure)
    sys.exit(bool(tally.failures))
