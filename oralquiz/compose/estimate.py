"""Sums on frames too wide for the exact table: counted by an estimate, drawn and some dropped.

Terms are drawn from the highest column down, from counts that let neighbouring terms repeat or
cancel. Drawn sums in which a barred pair occurs are dropped, and the count is multiplied by the
share that is kept, as measured on a sample: an estimate, with its error. On a wide frame nearly
all sums are kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy  # its parts are loaded when they are first used

from oralquiz.compose.column_table import ColumnTable, TermShape, stages_back
from oralquiz.compose.plays import Bools, Ints
from oralquiz.compose.request import Request
from oralquiz.compose.sampler import Count
from oralquiz.compose.table import Floats

SAMPLE = 4_000
"""Sums drawn to measure the share that is kept."""

ROUNDING = 1e-9
"""More than the relative rounding error of any count here."""


@dataclass(frozen=True)
class Estimate:
    """A Sampler of the sums of ``table`` that have no barred pair."""

    table: ColumnTable

    @property
    def exact(self) -> bool:
        """Only that there are none is known exactly."""
        return self.table.count_with_neighbours == 0

    def count(self) -> Count:
        if self.exact:
            return Count(0, 0.0)
        kept, drawn = self.kept
        return Count(None, self.table.count_with_neighbours * kept / drawn, self.error)

    def draw(self, count: int, rng: np.random.Generator) -> Ints:
        """At most ``count`` sums, [sums, terms]: those of so many drawn that are kept."""
        terms = draw_with_neighbours(self.table, count, rng)
        return terms[without_barred_pairs(self.table.request, terms)]

    @cached_property
    def kept(self) -> tuple[int, int]:
        """Of a sample of drawn sums, how many have no barred pair; and the sample's size."""
        if self.exact:
            return 0, SAMPLE
        return len(self.draw(SAMPLE, np.random.Generator(np.random.PCG64(0)))), SAMPLE

    @property
    def error(self) -> float:
        """Half the 95 % confidence interval of the estimate, relative to it."""
        request = self.table.request
        if request.repeats and request.cancels:
            return ROUNDING
        kept, drawn = self.kept
        interval = scipy.stats.binomtest(kept, drawn).proportion_ci(0.95, method="exact")
        return float(interval.high - interval.low) / 2 / max(kept / drawn, 1 / drawn) + ROUNDING


def draw_with_neighbours(table: ColumnTable, count: int, rng: np.random.Generator) -> Ints:
    """``count`` sums, [count, terms], uniform if terms might repeat and cancel."""
    request = table.request
    terms = np.empty((count, request.terms), dtype=np.int64)
    tally, use, owed, frame = (np.zeros(count, dtype=np.int64) for _ in range(4))
    for place in range(request.terms):
        before_total = frame - owed * 10**request.columns
        weights = np.stack(
            [
                np.stack([ways[use, owed, frame] for ways in shapes])
                for shapes in table.through[place]
            ]
        )[tally, :, np.arange(count)]
        chosen = _pick(weights, rng)
        after_tally = table.tallies.follow[place][tally, chosen]
        for shape, after in sorted(set(zip(chosen.tolist(), after_tally.tolist(), strict=True))):
            group = np.flatnonzero((chosen == shape) & (after_tally == after))
            use[group], owed[group], frame[group] = _draw_down(
                table.shapes[shape],
                stages_back(table.shapes[shape], table.ways(place + 1, after), request),
                use[group],
                owed[group],
                frame[group],
                rng,
            )
        terms[:, place] = frame - owed * 10**request.columns - before_total
        tally = after_tally
    return terms


def _draw_down(
    shape: TermShape,
    stages: Sequence[Floats],
    use: Ints,
    owed: Ints,
    frame: Ints,
    rng: np.random.Generator,
) -> tuple[Ints, Ints, Ints]:
    """The uses, the one owed and the frame after a play drawn from the highest column down."""
    _, owes, totals = stages[0].shape
    state = use * 4 + 1
    if owes == 2:
        before, after = (1, 0) if shape.sign > 0 else (0, 1)
        carried = np.where(owed == before, stages[-2][use * 4 + 3, after, frame], 0.0)
        stays = stages[-2][use * 4 + 1, owed, frame]
        crosses = _pick(np.stack([stays, carried], axis=1), rng)
        state = state + 2 * crosses
        owed = np.where(crosses == 1, after, owed)
    for column in reversed(range(len(shape.steps))):
        unit = 10**column
        flat = stages[column].reshape(-1)
        sources = shape.steps[column].sources[state * 10 + frame // unit % 10]
        states, digits = sources // 10, sources % 10
        moved = frame[:, None] + (digits - frame[:, None] // unit % 10) * unit
        at = (states * owes + owed[:, None]) * totals + moved
        weights = np.where(sources >= 0, flat.take(at, mode="clip"), 0.0)
        chosen = _pick(weights, rng)
        rows = np.arange(len(frame))
        state, frame = states[rows, chosen], moved[rows, chosen]
    return state // 4, owed, frame


def _pick(weights: Floats, rng: np.random.Generator) -> Ints:
    """One column for each row, with a chance in proportion to its weight."""
    ends = np.cumsum(weights, axis=1)
    points = rng.random(len(weights)) * ends[:, -1]
    points = np.minimum(points, np.nextafter(ends[:, -1], 0.0))  # a product may round up
    chosen: Ints = (ends <= points[:, None]).sum(axis=1)
    return chosen


def without_barred_pairs(request: Request, terms: Ints) -> Bools:
    """Which sums, [count, terms], have no neighbours that the request bars."""
    before, after = terms[:, :-1], terms[:, 1:]
    barred: Bools = np.zeros(before.shape, dtype=bool)
    if not request.repeats:
        barred |= before == after
    if not request.cancels:
        barred |= before == -after
    kept: Bools = np.logical_not(barred.any(axis=1))
    return kept
