"""Counting on frames too wide for the exact table: column by column, in floats.

A play of one term is not looked up for each running total; it is put together from what each
column does, from the ones up, passing on a carry (0 or 1), whether the term has enough digits
yet, and the uses of each drill. Only sums and products of non-negative floats occur, so the counts
are right to about twelve digits.

What a column-by-column count cannot see is two neighbouring terms that repeat or cancel: it counts
sums that have such pairs, too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
import scipy  # its parts are loaded when they are first used

from oralquiz.compose.plays import Ints, allowed_cells, cell, column_moves, counting_cells
from oralquiz.compose.request import Request
from oralquiz.compose.table import Floats
from oralquiz.compose.tallies import PlayClass, Tallies, follow_tallies
from oralquiz.errors import BadInput

MAX_CELLS = 60_000_000  # float64 numbers a table may hold: about 0.5 GB


@dataclass(frozen=True)
class ColumnStep:
    """What one column does for a sign: a sparse matrix from (state, digit after) to
    (state, digit before), each row's entries also as a padded table for drawing.

    A state is (uses, carry, long enough) as one index.
    """

    matrix: scipy.sparse.csr_array
    sources: Ints  # [rows, most entries of a row], -1 where a row has fewer


@dataclass(frozen=True)
class TermShape:
    """The terms of one sign and number of digits, with the columns' steps for them, ones first."""

    sign: int
    steps: tuple[ColumnStep, ...]


@dataclass(frozen=True)
class ColumnTable:
    """``through[i][x, k]``: [uses, owed, totals] ways from the tally ``x`` that play a term of
    shape ``k`` first. Totals are what the frame shows; "owed" is 1 when the total is below zero.
    """

    request: Request
    shapes: tuple[TermShape, ...]
    tallies: Tallies
    through: tuple[tuple[tuple[Floats, ...], ...], ...]
    last: Floats

    def ways(self, place: int, tally: int) -> Floats:
        """Ways to go on, [uses, owed, totals], before term ``place``."""
        if place == self.request.terms:
            return self.last
        return _settled(self.through[place][tally])

    @cached_property
    def count_with_neighbours(self) -> float:
        """How many sums there are if terms may repeat and cancel; right to twelve digits."""
        if self.tallies.sizes[0] == 0:
            return 0.0
        return float(self.ways(0, 0)[0, 0, 0])


def build_column_table(request: Request) -> ColumnTable:
    """Raises BadInput if even this table would be too large."""
    low, high = request.digits
    lengths = [(low, min(high, request.columns))]
    if request.digits_in_all is not None:
        lengths = [(n, n) for n in range(lengths[0][0], lengths[0][1] + 1)]
    shapes: list[TermShape] = []
    classes: list[PlayClass] = []
    for sign, length in product((1, -1), lengths):
        steps = [_column_step(request, column, sign, length) for column in range(request.columns)]
        shapes.append(TermShape(sign, tuple(steps)))
        classes.append((sign, length[1]))
    tallies = follow_tallies(_without_drills(request), classes)
    owed = 2 if request.below_zero else 1
    states = (len(_uses(request)), owed, 10**request.columns)
    if sum(tallies.sizes) * len(shapes) * np.prod(states) > MAX_CELLS:
        raise BadInput(
            f"this asks for too many things at once on {request.columns} columns: "
            "fewer terms, fewer uses of the drill or no number of minus terms will do"
        )
    last = np.zeros(states)
    last[-1] = _may_end(request)
    ways = [last] * tallies.sizes[-1]
    through: list[tuple[tuple[Floats, ...], ...]] = []
    for follow in reversed(tallies.follow):
        went = {
            (shape, after): stages_back(shapes[shape], ways[after], request)[-1]
            for shape in range(len(shapes))
            for after in {int(n) for n in follow[:, shape]} - {len(ways)}
        }
        none = np.zeros(states)
        through.append(
            tuple(
                tuple(went.get((shape, int(after)), none) for shape, after in enumerate(row))
                for row in follow
            )
        )
        ways = [_settled(row) for row in through[-1]]
    return ColumnTable(request, tuple(shapes), tallies, tuple(reversed(through)), last)


def _without_drills(request: Request) -> Request:
    return replace(request, drills=())


def _settled(through: Sequence[Floats]) -> Floats:
    """The ways of all shapes together, without the one total that is not on the frame."""
    ways: Floats = np.sum(through, axis=0)
    ways[:, 1:, 0] = 0.0  # minus 10^columns
    return ways


def _uses(request: Request) -> list[tuple[int, ...]]:
    return list(product(*(range(drill.uses + 1) for drill in request.drills)))


def _may_end(request: Request) -> Floats:
    """1 for the totals a sum may end on, [owed, totals]."""
    frame = np.arange(10**request.columns)
    totals = np.stack([frame, frame - 10**request.columns][: 2 if request.below_zero else 1])
    low, high = request.answer or (request.lowest, request.highest)
    may = (totals >= max(low, request.lowest)) & (totals <= high)
    return may.astype(np.float64)


def _column_step(request: Request, column: int, sign: int, length: tuple[int, int]) -> ColumnStep:
    moves = column_moves()
    allowed = allowed_cells(request)
    counts = [counting_cells(drill, column) for drill in request.drills]
    uses = _uses(request)
    uses_at = {use: at for at, use in enumerate(uses)}
    caps = [drill.uses for drill in request.drills]
    rows: list[int] = []
    sources: list[int] = []
    for shown, digit, carry_in in product(range(10), range(10), (0, 1)):
        own = cell(shown, sign * digit)
        carried = cell(int(moves.after[own]), sign * carry_in)
        if not (allowed[own] and allowed[carried]) or (digit and column >= length[1]):
            continue
        carry_out = int(moves.carries[own] + moves.carries[carried])
        after = int(moves.after[carried])
        more = [int(count[own]) + int(count[carried]) for count in counts]
        for use, long_in in product(uses, (0, 1)):
            long_out = int(long_in or (digit > 0 and column >= length[0] - 1))
            grown = tuple(min(n + m, cap) for n, m, cap in zip(use, more, caps, strict=True))
            rows.append(((uses_at[use] * 2 + carry_out) * 2 + long_out) * 10 + shown)
            sources.append(((uses_at[grown] * 2 + carry_in) * 2 + long_in) * 10 + after)
    size = len(uses) * 40
    matrix = scipy.sparse.csr_array((np.ones(len(rows)), (rows, sources)), shape=(size, size))
    entries = np.diff(matrix.indptr)
    padded = np.full((size, max(int(entries.max(initial=0)), 1)), -1)
    padded[np.arange(padded.shape[1]) < entries[:, None]] = matrix.indices
    return ColumnStep(matrix, padded)


def stages_back(shape: TermShape, ways: Floats, request: Request) -> list[Floats]:
    """The ways after a play, turned column by column into the ways before it.

    The first item is [states, owed, totals] with the totals after the play; each next one has one
    more column, from the ones up, showing what it showed before; the last item is the result,
    [uses, owed, totals].
    """
    uses, owed, totals = ways.shape
    stage = np.zeros((uses * 4, owed, totals))
    stage[0::4] = ways  # no carry into the ones, no digit yet
    stages = [stage]
    for column, step in enumerate(shape.steps):
        low = 10**column
        split = stage.reshape(uses * 4, owed * totals // (10 * low), 10, low)
        flat = np.moveaxis(split, 2, 1).reshape(uses * 40, -1)
        turned = (step.matrix @ flat).reshape(uses * 4, 10, -1, low)
        stage = np.moveaxis(turned, 1, 2).reshape(uses * 4, owed, totals)
        stages.append(stage)
    result = stage[1::4].copy()  # long enough, no carry out of the frame
    if owed == 2:  # a plus pays back the one owed, a minus borrows it
        before, after = (1, 0) if shape.sign > 0 else (0, 1)
        result[:, before] += stage[3::4, after]
    stages.append(result)
    return stages
