"""What counts and draws the sums of one request: exactly from a table, or by an estimate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from oralquiz.compose.plays import Ints


@dataclass(frozen=True)
class Count:
    """How many sums satisfy a request.

    ``total`` is exact, or None where only ``estimate`` is known; ``error`` is half the 95 %
    confidence interval of the estimate, relative to it (0 when exact).
    """

    total: int | None
    estimate: float
    error: float = 0.0

    @property
    def exact(self) -> bool:
        return self.total is not None

    def __str__(self) -> str:
        if self.total is not None:
            return f"{self.total:,}" if self.total < 10**12 else power_text(self.total)
        return f"about {power_text(self.estimate)} (give or take {self.error:.2%})"


def power_text(number: float) -> str:
    """A large number as 1.23 x 10^n."""
    mantissa, exponent = f"{float(number):.2e}".split("e")
    return f"{mantissa} x 10^{int(exponent)}"


class Sampler(Protocol):
    """Counts and draws the sums of one request."""

    @property
    def exact(self) -> bool:
        """Whether the count is exact."""
        ...

    def count(self) -> Count:
        """How many sums there are."""
        ...

    def draw(self, count: int, rng: np.random.Generator) -> Ints:
        """``count`` sums as an array [count, terms], each uniform among all there are.

        Fewer come back where some of those drawn had to be dropped. Raises ValueError if there
        is none to draw.
        """
        ...
