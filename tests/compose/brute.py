"""Every sum that fits a request, by trying them all: slow, and sharing nothing with the composer.

Only the bead frame's own `play_term` is used, the function every other room stands on.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from oralquiz.beads import Move, play_term
from oralquiz.compose import Request


@cache
def moves(total: int, term: int, columns: int) -> tuple[Move, ...]:
    """The frame's moves; below zero the frame shows 10^columns + total."""
    if total < 0 or total + term < 0:
        total += int(10**columns)
    return tuple(move for move in play_term(total, term).moves if move.column < columns)


def every_sum(request: Request) -> Iterator[tuple[int, ...]]:
    low, high = request.digits
    sizes = range(10 ** (low - 1), 10 ** min(high, request.columns))
    terms = [*sizes, *(-size for size in sizes)]
    lowest = -request.highest if request.below_zero else 0

    @cache
    def plays(total: int) -> list[tuple[int, str, tuple[int, ...]]]:
        """Every term that may be played from ``total``: its sign and its uses of each drill."""
        found = []
        for term in terms:
            if not lowest <= total + term <= request.highest:
                continue
            played = moves(total, term, request.columns)
            if any(move.rule not in request.allowed for move in played):
                continue
            found.append((term, "+" if term > 0 else "-", uses_in(played)))
        return found

    def uses_in(played: tuple[Move, ...]) -> tuple[int, ...]:
        return tuple(
            sum(
                move.rule in drill.rules
                and drill.column in (None, move.column)
                and drill.shown in (None, move.before // 10**move.column % 10)
                and drill.digit in (None, move.digit)
                for move in played
            )
            for drill in request.drills
        )

    def grow(
        chain: tuple[int, ...], total: int, uses: tuple[int, ...]
    ) -> Iterator[tuple[int, ...]]:
        if len(chain) == request.terms:
            if ends_well(chain, total, uses):
                yield chain
            return
        for term, sign, more in plays(total):
            if not chain and request.first_plus and term < 0:
                continue
            if chain and not request.repeats and term == chain[-1]:
                continue
            if chain and not request.cancels and term == -chain[-1]:
                continue
            if request.signs and request.signs[len(chain)] not in ("?", sign):
                continue
            grown = tuple(n + m for n, m in zip(uses, more, strict=True))
            yield from grow((*chain, term), total + term, grown)

    def ends_well(chain: tuple[int, ...], total: int, uses: tuple[int, ...]) -> bool:
        minus = sum(term < 0 for term in chain)
        digits = sum(len(str(abs(term))) for term in chain)
        return (
            all(n >= drill.uses for n, drill in zip(uses, request.drills, strict=True))
            and (request.minus is None or request.minus[0] <= minus <= request.minus[1])
            and (request.answer is None or request.answer[0] <= total <= request.answer[1])
            and (request.digits_in_all is None or digits == request.digits_in_all)
        )

    yield from grow((), 0, tuple(0 for _ in request.drills))
