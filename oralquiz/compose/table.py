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

from oralquiz.compose import wide
from oralquiz.compose.plays import Ints, Plays, plays_for
from oralquiz.compose.request import Request
from oralquiz.compose.tallies import Tallies, tallies_for

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Neighbours:
    """For each play the play of the same term right after it, and of its opposite.

    The number of plays (one past the last) stands for none: the frame or the rules do not let
    it be played, or the request does not mind it.
    """

    again: Ints
    back: Ints


@dataclass(frozen=True)
class Table:
    """``ways[i]``: F[i] as limbs, [limbs, tallies + 1, totals]; the last tally is "none", 0.

    ``shares[i]``: for each tally and play the running share of h[i] among the plays from the
    same total, plus the rank of that tally and total, so that the whole array ascends.
    ``slack``: no share is further than this from its exact value.
    """

    request: Request
    plays: Plays
    tallies: Tallies
    neighbours: Neighbours
    ways: tuple[wide.Limbs, ...]
    shares: tuple[Floats, ...]
    starts: Ints  # the first play from each total that has one, and the number of plays at the end
    rank: Ints  # of each total among those that have a play, -1 for none
    slack: float
    _exact: dict[tuple[int, int, int], int] = field(default_factory=dict, repr=False)

    @property
    def count(self) -> int:
        """How many sums satisfy the request."""
        if self.tallies.sizes[0] == 0 or len(self.plays) == 0:
            return 0
        return wide.to_int(self.ways[0], 0, -self.request.lowest)

    def ways_through(self, place: int, tally: int, play: int) -> int:
        """h[place](tally, play), exactly."""
        key = (place, tally, play)
        if key not in self._exact:
            after = int(self.tallies.follow[place][tally, self.tallies.class_of[play]])
            ways = wide.to_int(self.ways[place + 1], after, int(self.plays.after[play]))
            if ways and place + 1 < self.request.terms:
                for other in (self.neighbours.again[play], self.neighbours.back[play]):
                    if other < len(self.plays):
                        ways -= self.ways_through(place + 1, after, int(other))
            self._exact[key] = ways
        return self._exact[key]


def build_table(request: Request) -> Table:
    """Count every way; afterwards sums can be drawn."""
    plays = plays_for(request)
    tallies = tallies_for(request, plays)
    neighbours = _neighbours(request, plays)
    present, starts = np.unique(plays.before, return_index=True)
    totals = request.highest - request.lowest + 1
    rank = np.full(totals, -1)
    rank[present] = np.arange(len(present))

    ways = [_last(request, tallies.sizes[-1], totals)]
    through: wide.Limbs | None = None
    shares: list[Floats] = []
    for follow in reversed(tallies.follow):
        through = _through(follow[:, tallies.class_of], ways[-1], through, plays, neighbours)
        shown = np.zeros((len(through), len(follow) + 1, totals), dtype=np.int64)
        if len(plays) and len(follow):
            shown[:, :-1, present] = np.add.reduceat(through[:, :-1, :-1], starts, axis=2)
        ways.append(wide.settle(shown))
        shares.append(_shares(through, ways[-1], plays, starts, rank))
    longest = int(np.diff(np.append(starts, len(plays))).max(initial=0))
    return Table(
        request=request,
        plays=plays,
        tallies=tallies,
        neighbours=neighbours,
        ways=tuple(reversed(ways)),
        shares=tuple(reversed(shares)),
        starts=np.append(starts, len(plays)),
        rank=rank,
        slack=2.0**-52 * (len(present) * (longest + max(tallies.sizes)) + 16),
    )


def _last(request: Request, tallies: int, totals: int) -> wide.Limbs:
    """F[n]: 1 where the sum may end."""
    ways = np.zeros((1, tallies + 1, totals), dtype=np.int64)
    low, high = request.answer or (request.lowest, request.highest)
    first = max(low - request.lowest, 0)
    ways[0, :tallies, first : max(high - request.lowest + 1, first)] = 1
    return ways


def _neighbours(request: Request, plays: Plays) -> Neighbours:
    none = np.full(len(plays), len(plays))
    if len(plays) == 0 or (request.repeats and request.cancels):
        return Neighbours(none, none)
    terms, at = np.unique(plays.term, return_inverse=True)
    lookup = np.full((request.highest - request.lowest + 1, len(terms) + 1), len(plays))
    lookup[plays.before, at] = np.arange(len(plays))
    opposite = np.searchsorted(terms, -plays.term).clip(max=len(terms) - 1)
    opposite = np.where(terms[opposite] == -plays.term, opposite, len(terms))
    return Neighbours(
        again=none if request.repeats else lookup[plays.after, at],
        back=none if request.cancels else lookup[plays.after, opposite],
    )


def _through(
    follow: Ints,
    ways: wide.Limbs,
    later: wide.Limbs | None,
    plays: Plays,
    neighbours: Neighbours,
) -> wide.Limbs:
    """h[i], [limbs, tallies + 1, plays + 1], from F[i + 1], h[i + 1]; the last of each is 0.

    ``follow``: the tally after each play, [tallies, plays].
    """
    limbs, _, totals = ways.shape
    tallies, count = follow.shape
    result = np.zeros((limbs, tallies + 1, count + 1), dtype=np.int64)
    at = follow * totals + plays.after
    for limb in range(limbs):
        result[limb, :-1, :-1] = ways[limb].reshape(-1)[at]
    if later is not None:
        for other in (neighbours.again, neighbours.back):
            if (other < count).any():
                at = follow * (count + 1) + other
                for limb in range(len(later)):
                    result[limb, :-1, :-1] -= later[limb].reshape(-1)[at]
    return wide.settle(result)


def _shares(
    through: wide.Limbs, ways: wide.Limbs, plays: Plays, starts: Ints, rank: Ints
) -> Floats:
    tallies = through.shape[1] - 1
    if tallies == 0 or len(plays) == 0:
        return np.zeros((tallies, len(plays)))
    whole = wide.to_float(ways[:, :-1])[:, plays.before]
    share = wide.to_float(through[:, :-1, :-1]) / np.where(whole > 0, whole, 1.0)
    share = np.cumsum(share, axis=1)
    base = np.concatenate([np.zeros((tallies, 1)), share[:, starts[1:] - 1]], axis=1)
    place = rank[plays.before]
    share -= base[:, place]
    share += place + len(starts) * np.arange(tallies)[:, None]
    # a share that rounding lifts over its total's end would hide the next total's first plays
    np.minimum(share, place + 1.0 + len(starts) * np.arange(tallies)[:, None], out=share)
    return share
