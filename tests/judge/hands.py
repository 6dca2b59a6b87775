"""Hands that move one finger at a time: an oracle for slips that shares no code with the judge.

A slip is played here by changing the gestures of one correct move (from ``beads``) and then
continuing, gesture by gesture, from what the hands really show. An impossible gesture (lifting a
finger that is up) raises.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from oralquiz.beads import Move, Sum, play_term

Gesture = tuple[int, str, int]  # column, "five" or "ones", signed count
Played = tuple[str, int | None, int | None, int]  # kind, term, column, what the hands show


class ImpossibleGesture(Exception):
    pass


@dataclass(frozen=True)
class Hands:
    """``beads`` holds (five, ones) for each column, ones first."""

    beads: tuple[tuple[int, int], ...]

    @classmethod
    def showing(cls, value: int, columns: int) -> Hands:
        digits = [value // 10**c % 10 for c in range(columns)]
        return cls(tuple((d // 5, d % 5) for d in digits))

    @property
    def value(self) -> int:
        return sum((5 * five + ones) * 10**c for c, (five, ones) in enumerate(self.beads))

    def move(self, gesture: Gesture) -> Hands:
        column, bead, count = gesture
        if column >= len(self.beads):
            return self  # no hand there: the carry is lost
        five, ones = self.beads[column]
        if bead == "five":
            five += count
        else:
            ones += count
        if five not in (0, 1) or not 0 <= ones <= 4:
            raise ImpossibleGesture(f"{gesture} on {self}")
        beads = list(self.beads)
        beads[column] = (five, ones)
        return replace(self, beads=tuple(beads))

    def moves(self, term: int) -> tuple[Move, ...]:
        """The correct moves of ``term`` from here, as if there were more hands to the left."""
        spare = 10 ** len(self.beads) if self.value + term < 0 else 0
        return play_term(self.value + spare, term).moves

    def play(self, term: int) -> Hands:
        hands = self
        for move in self.moves(term):
            for gesture in gestures(move):
                hands = hands.move(gesture)
        return hands

    def play_all(self, terms: tuple[int, ...]) -> Hands:
        hands = self
        for term in terms:
            hands = hands.play(term)
        return hands


def gestures(move: Move) -> list[Gesture]:
    return [(step.column, step.bead, step.count) for step in move.beads]


def cascade(moves: tuple[Move, ...], index: int) -> list[Move]:
    """The moves that the move at ``index`` passed on to the left."""
    move = moves[index]
    passes_on = move.rule.kind in ("ten", "both")
    if not passes_on:
        return []
    step = 1 if move.digit > 0 else -1  # a carry comes after its cause, a borrow before
    found: list[Move] = []
    at = index
    while True:
        at += step
        found.append(moves[at])
        if moves[at].rule.kind not in ("ten", "both"):
            return found


def variants(move: Move) -> Iterator[tuple[str, list[Gesture]]]:
    """The wrong ways to move the beads of one move, apart from its carry."""
    right = gestures(move)
    five = next((g for g in right if g[1] == "five"), None)
    ones = next((g for g in right if g[1] == "ones"), None)
    kind, column, place = move.rule.kind, move.column, 10**move.column
    shown_five = move.before // place % 10 >= 5
    if five:
        yield "five-not-moved", [g for g in right if g is not five]
    else:
        extra: Gesture = (column, "five", -1 if shown_five else 1)
        yield "five-moved-in-vain", [*right, extra]
    if kind == "five" and five and ones:
        for count in range(1, 5):
            other: Gesture = (column, "ones", -five[2] * count)
            yield "complement-wrong-partner", [five, other]
    if kind in ("five", "both") and ones:
        yield "complement-missed", [g for g in right if g is not ones]
    if kind in ("ten", "both"):
        yield "complement-missed", []
    if kind in ("direct", "ten") and five and ones:
        yield "ones-not-moved", [five]
    if ones:
        way = 1 if ones[2] > 0 else -1
        yield (
            "finger-too-many",
            [*(g for g in right if g is not ones), (column, "ones", ones[2] + way)],
        )
        if abs(ones[2]) > 1:
            fewer: Gesture = (column, "ones", ones[2] - way)
            yield "finger-too-few", [*(g for g in right if g is not ones), fewer]
    elif five:
        yield "finger-too-many", [*right, (column, "ones", five[2])]


def single_slips(terms: Sum, columns: int, previous: int | None) -> Iterator[Played]:
    """Every single slip that the hands can make, with the number they show at the end."""
    empty = Hands.showing(0, columns)
    if previous:
        yield (
            "previous-kept",
            None,
            None,
            Hands.showing(previous, columns).play_all(terms.terms).value,
        )
    shown = empty
    for index, term in enumerate(terms.terms):
        rest = terms.terms[index + 1 :]

        for kind, instead in whole_terms(term, first=index == 0, top=10**columns - 1):
            yield kind, index, None, shown.play_all(instead).play_all(rest).value
        for kind, column, hands in move_slips(shown, term, columns):
            yield kind, index, column, hands.play_all(rest).value
        shown = shown.play(term)
    text = str(shown.value)
    width = min(columns, max(2, len(text)))
    text = text.zfill(width)
    for i in range(width - 1):
        swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        if swapped != text:
            yield "answer-reversed", None, None, int(swapped)


DOUBLES = {13: 30, 14: 40, 15: 50, 16: 60, 17: 70, 18: 80, 19: 90}


def whole_terms(term: int, first: bool, top: int) -> Iterator[tuple[str, tuple[int, ...]]]:
    """The terms that are played instead of ``term``."""
    sign = 1 if term > 0 else -1
    size = abs(term)
    yield "term-left-out", ()
    yield "term-doubled", (term, term)
    heard = {**DOUBLES, **{b: a for a, b in DOUBLES.items()}}.get(size % 100)
    if heard is not None and size - size % 100 + heard <= top:
        yield "term-misheard", (sign * (size - size % 100 + heard),)
    if not first:
        yield "sign-flipped", (-term,)
    text = str(size)
    for i in range(len(text) - 1):
        swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        if swapped != text and "0" not in (text[i], text[i + 1]):
            yield "digits-reversed", (sign * int(swapped),)


def move_slips(shown: Hands, term: int, columns: int) -> Iterator[tuple[str, int, Hands]]:
    """The slips in one move of ``term``, with what the hands show when the term is over."""
    moves = shown.moves(term)
    only = sum(c != "0" for c in str(abs(term))) == 1
    for index, move in enumerate(moves):
        if move.column >= columns:
            continue
        passed = cascade(moves, index)
        inside = [m for m in passed if m.column < columns]

        def played(
            change: Callable[[Hands], Hands],
            skip: list[Move],
            index: int = index,
            moves: tuple[Move, ...] = moves,
            move: Move = move,
        ) -> Hands:
            """Play the other moves as they are, and ``change`` in place of this one.

            Lower digits are played again: their moves may depend on what went wrong above.
            """
            hands = shown
            own = [m for m in moves if not m.carry]
            cause = move if not move.carry else cause_of(moves, index)
            for m in own:
                if m is not cause:
                    hands = hands.play(m.digit * 10**m.column)
                    continue
                chain = [m, *cascade(moves, moves.index(m))]
                for link in chain:
                    if link is move:
                        hands = change(hands)
                    elif link not in skip:
                        for gesture in gestures(link):
                            hands = hands.move(gesture)
            return hands

        right = gestured(gestures(move))
        for kind, way in variants(move):
            try:
                yield kind, move.column, played(gestured(way), [])
            except ImpossibleGesture:
                continue
        moved = sum((5 if bead == "five" else 1) * count for _, bead, count in gestures(move))
        digit = move.before // 10**move.column % 10
        sign = 1 if move.digit > 0 else -1
        complement = moved - (5 * sign if move.rule.kind == "five" else 0)
        if move.rule.kind != "direct" and 0 <= digit + moved - 2 * complement <= 9:
            turned = (moved - 2 * complement) * 10**move.column
            yield "complement-wrong-way", move.column, played(plain(turned), [])
        partner = 10 - abs(move.digit)
        for wrongly in (partner - 1, partner + 1):
            instead = -sign * wrongly
            tens = move.rule.kind in ("ten", "both")
            if tens and 1 <= wrongly <= 9 and 0 <= digit + instead <= 9:
                place = 10**move.column
                yield "complement-wrong-partner", move.column, played(plain(instead * place), [])
        if move.column + 1 < columns:
            carried = plain(sign * 10 ** (move.column + 1)) if inside else gestured([])
            for one in (1, -1):
                extra = both(carried, plain(one * 10 ** (move.column + 1)))
                yield "ten-moved-in-vain", move.column, played(both(right, extra), passed)
        if inside:
            name = "carry" if move.digit > 0 else "borrow"
            yield f"{name}-forgotten", move.column, played(right, passed)
            for elsewhere in (move.column, move.column + 2):
                if elsewhere < columns:
                    carried = sign * 10**elsewhere
                    yield (
                        f"{name}-wrong-column",
                        move.column,
                        played(both(right, plain(carried)), passed),
                    )
            back = -sign * 10 ** (move.column + 1)
            yield f"{name}-wrong-way", move.column, played(both(right, plain(back)), passed)
        if not move.carry:
            if not only:
                yield "column-left-out", move.column, played(lambda hands: hands, passed)
                yield (
                    "column-wrong-way",
                    move.column,
                    played(plain(-move.digit * 10**move.column), passed),
                )
            for elsewhere in (move.column + 1, move.column - 1):
                if 0 <= elsewhere < columns:
                    other = move.digit * 10**elsewhere
                    yield "hands-swapped", move.column, played(plain(other), passed)


def cause_of(moves: tuple[Move, ...], index: int) -> Move:
    """The move of the term itself that the carried move at ``index`` goes back to."""
    for at, move in enumerate(moves):
        if not move.carry and moves[index] in cascade(moves, at):
            return move
    raise AssertionError("a carry without a cause")


def gestured(way: list[Gesture]) -> Callable[[Hands], Hands]:
    def change(hands: Hands) -> Hands:
        for gesture in way:
            hands = hands.move(gesture)
        return hands

    return change


def plain(value: int) -> Callable[[Hands], Hands]:
    return lambda hands: hands.play(value)


def both(
    one: Callable[[Hands], Hands], other: Callable[[Hands], Hands]
) -> Callable[[Hands], Hands]:
    return lambda hands: other(one(hands))
