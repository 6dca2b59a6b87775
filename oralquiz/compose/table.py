"""How many sums end well from every point of their making: dynamic programming, exact.

Let F[i](x, v) be the number of ways to play terms i + 1 .. n from running total v with tally x,
and h[i](x, e) those that play e first. Without a rule about neighbours, h[i](x, e) is
F[i + 1](x', v'), with x', v' the tally and the total after e. A term may not repeat or cancel the
one before it, so the ways that go on with the same term, or its opposite, are taken out again:

    h[i](x, e) = F[i + 1](x', v') - h[i + 1](x', again e) - h[i + 1](x', back e)
    F[i](x, v) = sum of h[i](x, e) over the plays e from v

This keeps the term before out of the state: the table is as long as the plays, not their square.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from oralquiz.compose import limbs
from oralquiz.compose.plays import Ints, Plays, plays_for
from oralquiz.compose.request import Request
from oralquiz.compose.tallies import Tallies, classes_of, follow_tallies

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ByTotal:
    """The plays in the order of the total they start from, which is how they are drawn.

    ``order``: plays in this order; ``place``: where each play stands in it. ``present``: the
    totals that have a play; ``starts``: where the plays of each begin, and the end of the last;
    ``rank``: of each total among those present, -1 for none.
    """

    order: Ints
    place: Ints
    present: Ints
    starts: Ints
    rank: Ints

    @property
    def sizes(self) -> Ints:
        """How many plays start from each present total."""
        sizes: Ints = np.diff(self.starts)
        return sizes


@dataclass(frozen=True)
class CountingPlan:
    """What is to be counted: the plays, the class of each, and the tallies they lead through."""

    request: Request
    plays: Plays
    class_of: Ints
    tallies: Tallies

    @property
    def cells(self) -> int:
        """How many float64 numbers a table for drawing keeps."""
        return len(self.plays) * sum(self.tallies.sizes)


def plan_for(request: Request) -> CountingPlan:
    plays = plays_for(request)
    classes, class_of = classes_of(request, plays)
    return CountingPlan(request, plays, class_of, follow_tallies(request, classes))


@dataclass(frozen=True)
class Table:
    """``ways[i]``: F[i] as limbs, [limbs, tallies + 1, totals]; the last tally is "none", 0.

    ``shares[i]``, [tallies, plays by total]: the running share of h[i] among the plays from the
    same total, plus the rank of that tally and total, so that the whole array ascends. Empty if
    only the count was wanted. ``slack``: no share is further than this from its exact value.
    """

    plan: CountingPlan
    by_total: ByTotal
    ways: tuple[limbs.Limbs, ...]
    shares: tuple[Floats, ...]
    slack: float
    _exact: dict[tuple[int, int, int], int] = field(default_factory=dict, repr=False)

    @property
    def total(self) -> int:
        """How many sums satisfy the request."""
        if self.plan.tallies.sizes[0] == 0 or len(self.plan.plays) == 0:
            return 0
        return limbs.to_int(self.ways[0], 0, -self.plan.request.lowest)

    def barred_after(self, play: int) -> set[int]:
        """The plays that may not follow ``play``."""
        barred = set()
        if not self.plan.request.repeats:
            barred.add(int(self.plan.plays.again[play]))
        if not self.plan.request.cancels:
            barred.add(int(self.plan.plays.back[play]))
        return barred - {len(self.plan.plays)}

    def ways_through(self, place: int, tally: int, play: int) -> int:
        """h[place](tally, play), exactly."""
        key = (place, tally, play)
        if key not in self._exact:
            after = int(self.plan.tallies.follow[place][tally, self.plan.class_of[play]])
            ways = limbs.to_int(self.ways[place + 1], after, int(self.plan.plays.after[play]))
            if ways and place + 1 < self.plan.request.terms:
                for other in self.barred_after(play):
                    ways -= self.ways_through(place + 1, after, other)
            self._exact[key] = ways
        return self._exact[key]


def build_table(plan: CountingPlan, for_drawing: bool = True) -> Table:
    """Count every way; with ``for_drawing`` sums can be drawn fast from the table afterwards."""
    request, plays, tallies = plan.request, plan.plays, plan.tallies
    by_total = _by_total(plays, request.highest - request.lowest + 1)
    ways = [_last(request, tallies.sizes[-1])]
    shares: list[Floats] = []
    through: limbs.Limbs | None = None
    for follow in reversed(tallies.follow):
        through = _through(plan, follow, ways[-1], through)
        summed, share = _sum_up(through, by_total, for_drawing)
        ways.append(summed)
        shares.append(share)
    longest = int(by_total.sizes.max(initial=0))
    return Table(
        plan=plan,
        by_total=by_total,
        ways=tuple(reversed(ways)),
        shares=tuple(reversed(shares)) if for_drawing else (),
        slack=2.0**-52 * (len(by_total.present) * (longest + max(tallies.sizes)) + 16),
    )


def _by_total(plays: Plays, totals: int) -> ByTotal:
    kind = np.int16 if totals < 2**15 else np.int64  # numpy sorts int16 in linear time
    order = np.argsort(plays.before.astype(kind), kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    sizes = np.bincount(plays.before, minlength=totals)
    present = np.flatnonzero(sizes)
    rank = np.full(totals, -1)
    rank[present] = np.arange(len(present))
    return ByTotal(order, place, present, np.append(0, np.cumsum(sizes[present])), rank)


def _last(request: Request, tallies: int) -> limbs.Limbs:
    """F[n]: 1 where the sum may end."""
    ways = np.zeros((1, tallies + 1, request.highest - request.lowest + 1), dtype=np.int64)
    low, high = request.answer or (request.lowest, request.highest)
    first = max(low - request.lowest, 0)
    ways[0, :tallies, first : max(high - request.lowest + 1, first)] = 1
    return ways


def _through(
    plan: CountingPlan, follow: Ints, ways: limbs.Limbs, later: limbs.Limbs | None
) -> limbs.Limbs:
    """h[i], [limbs, tallies, plays + 1], from F[i + 1] and h[i + 1]; past the last play it is 0.

    ``follow``: the tally after a play of each class, [tallies, classes].
    """
    request, plays = plan.request, plan.plays
    result = np.zeros((len(ways), len(follow), len(plays) + 1), dtype=np.int64)
    barred = [plays.again] * (not request.repeats) + [plays.back] * (not request.cancels)
    for after in range(ways.shape[1] - 1):
        comes = follow == after
        if not comes.any():
            continue
        row = np.stack([limb[after].take(plays.after) for limb in ways])
        if later is not None:
            for other in barred:
                for limb, more in zip(row, later, strict=False):
                    limb -= more[after].take(other)
        limbs.settle_in_place(row)
        for tally in np.flatnonzero(comes.any(axis=1)):
            if comes[tally].all():
                result[:, tally, :-1] = row
            else:
                np.copyto(result[:, tally, :-1], row, where=comes[tally].take(plan.class_of))
    return result


def _sum_up(
    through: limbs.Limbs, by_total: ByTotal, with_shares: bool
) -> tuple[limbs.Limbs, Floats]:
    """F[i] and the shares from h[i]."""
    size, tallies, _ = through.shape
    summed = np.zeros((size, tallies + 1, len(by_total.rank)), dtype=np.int64)
    shares = np.zeros((tallies, len(by_total.order) if with_shares else 0))
    if len(by_total.order) == 0:
        return summed, shares
    starts = by_total.starts[:-1]
    for tally in range(tallies):
        ordered = np.stack([limb[tally].take(by_total.order) for limb in through])
        sums = np.add.reduceat(ordered, starts, axis=1)
        summed[:, tally, by_total.present] = sums
        if with_shares:
            rank = np.arange(len(starts)) + len(starts) * tally
            shares[tally] = _running_shares(ordered, limbs.to_float(sums), by_total, rank)
    return limbs.settle(summed), shares


def _running_shares(ordered: limbs.Limbs, whole: Floats, by_total: ByTotal, rank: Ints) -> Floats:
    sizes = by_total.sizes
    share = limbs.to_float(ordered)
    share *= np.repeat(1.0 / np.where(whole > 0, whole, 1.0), sizes)
    np.cumsum(share, out=share)
    base = np.append(0.0, share[by_total.starts[1:-1] - 1])
    share += np.repeat(rank - base, sizes)
    # a share that rounding lifts over its total's end would hide the next total's first plays
    return np.minimum(share, np.repeat(rank + 1.0, sizes), out=share)
