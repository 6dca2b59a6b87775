"""What must be counted while a sum grows: uses of each drill, minus terms, digits.

A tally is a tuple of such counts, capped where more does not matter. Plays that change the tally
alike form a class. For each term the tallies that a sum can have there, and from which it can
still end well, are listed; the rest of the composer works with their indices.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from oralquiz.compose.plays import Ints, Plays
from oralquiz.compose.request import Request

Tally = tuple[int, ...]
PlayClass = tuple[int, ...]
"""Sign, digits, then the uses of each drill: all that a tally needs to know of a play."""


@dataclass(frozen=True)
class Tallies:
    """``follow[i][x, c]``: the index among the tallies after term i + 1 that a play of class
    ``c`` leads to from tally ``x`` before it; ``sizes[i + 1]`` (one past the last) for none.

    ``sizes``: how many tallies there are before each term, and after the last.
    """

    follow: tuple[Ints, ...]
    sizes: tuple[int, ...]


def classes_of(request: Request, plays: Plays) -> tuple[list[PlayClass], Ints]:
    """The classes of plays that a request tells apart, and the class of each play."""
    caps = [drill.uses for drill in request.drills]
    signs = np.sign(plays.term)
    digits = np.searchsorted(10 ** np.arange(1, request.columns), np.abs(plays.term), "right") + 1
    counted = [signs, digits if request.digits_in_all is not None else np.ones_like(signs)]
    # more uses than a drill asks for make no difference
    counted += [np.minimum(uses, cap) for uses, cap in zip(plays.uses, caps, strict=True)]
    shape = [3, request.columns + 1, *(cap + 1 for cap in caps)]
    packed = np.ravel_multi_index([counted[0] + 1, *counted[1:]], shape)
    present = np.flatnonzero(np.bincount(packed))
    classes = [
        (int(sign) - 1, *(int(n) for n in rest))
        for sign, *rest in zip(*np.unravel_index(present, shape), strict=True)
    ]
    return classes, np.searchsorted(present, packed)


def follow_tallies(request: Request, classes: Sequence[PlayClass]) -> Tallies:
    """The tallies a sum can pass through, term by term."""
    layers: list[dict[Tally, list[Tally | None]]] = []
    tallies: Iterable[Tally] = [(0, 0, *(0 for _ in request.drills))]
    for place in range(request.terms):
        layer = {tally: [_next(request, place, tally, c) for c in classes] for tally in tallies}
        tallies = {after for row in layer.values() for after in row if after is not None}
        layers.append(layer)

    alive = sorted(tally for tally in tallies if _ends_well(request, tally))
    sizes = [len(alive)]
    follow: list[Ints] = []
    for layer in reversed(layers):
        index = {tally: at for at, tally in enumerate(alive)}
        rows = {
            tally: [len(index) if after is None else index.get(after, len(index)) for after in row]
            for tally, row in layer.items()
        }
        alive = sorted(t for t, row in rows.items() if any(at < len(index) for at in row))
        follow.append(
            np.array([rows[t] for t in alive], dtype=np.int64).reshape(len(alive), len(classes))
        )
        sizes.append(len(alive))
    return Tallies(tuple(reversed(follow)), tuple(reversed(sizes)))


def _next(request: Request, place: int, tally: Tally, kind: PlayClass) -> Tally | None:
    """The tally after term ``place`` (from 0) is played by ``kind``; None if it may not be."""
    minus, digits, *uses = tally
    sign, more_digits, *more_uses = kind
    if request.signs is not None and request.signs[place] not in ("?", "+" if sign > 0 else "-"):
        return None
    if place == 0 and request.first_plus and sign < 0:
        return None
    if request.minus is not None and sign < 0:
        minus += 1
        if minus > request.minus[1]:
            return None
    if request.digits_in_all is not None:
        digits += more_digits
        if digits > request.digits_in_all:
            return None
    caps = (drill.uses for drill in request.drills)
    grown = (min(n + m, cap) for n, m, cap in zip(uses, more_uses, caps, strict=True))
    return (minus, digits, *grown)


def _ends_well(request: Request, tally: Tally) -> bool:
    minus, digits, *uses = tally
    return (
        (request.minus is None or minus >= request.minus[0])
        and (request.digits_in_all is None or digits == request.digits_in_all)
        and all(n >= drill.uses for n, drill in zip(uses, request.drills, strict=True))
    )
