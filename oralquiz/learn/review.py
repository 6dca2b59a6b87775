"""When a rule is due again: one card a rule, by the package ``fsrs``.

A card is rated from a day's block of at least FEWEST_USES moves, never from one sum. Until the day
is over its rating may still change, so the card before the day and the day's moves are kept apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache

from fsrs import Card, Rating, Scheduler, State

FEWEST_USES = 6
FORGOTTEN_FROM = 0.2
"""A share of failed moves from which a rule counts as forgotten."""
HARD_FROM = 0.08


@dataclass(frozen=True)
class DayOfMoves:
    """The moves of one rule on one day; ``failed`` in expectation."""

    day: date
    last: datetime
    uses: float = 0.0
    failed: float = 0.0

    @property
    def rating(self) -> Rating | None:
        """None: too few moves to rate the rule by."""
        if self.uses < FEWEST_USES:
            return None
        share = self.failed / self.uses
        if share >= FORGOTTEN_FROM:
            return Rating.Again
        return Rating.Hard if share >= HARD_FROM else Rating.Good


@dataclass(frozen=True)
class Memory:
    """How well a rule is kept: what ``fsrs`` knows from earlier days, and today's block."""

    stability: float | None = None
    difficulty: float | None = None
    last: datetime | None = None
    due: datetime | None = None
    block: DayOfMoves | None = None

    def after(self, day: date, now: datetime, uses: float, failed: float) -> Memory:
        """So many moves more on ``day``; a day before it is rated for good."""
        memory = self if self.block is None or self.block.day == day else self.settled()
        block = memory.block or DayOfMoves(day, now)
        block = DayOfMoves(day, now, block.uses + uses, block.failed + failed)
        return Memory(memory.stability, memory.difficulty, memory.last, memory.due, block)

    def settled(self) -> Memory:
        """The block rated; one with too few moves says nothing and is dropped."""
        rating = self.block.rating if self.block else None
        if self.block is None or rating is None:
            return Memory(self.stability, self.difficulty, self.last, self.due)
        seen = self.block.last.astimezone(UTC)
        card, _ = _scheduler().review_card(self._card(seen), rating, seen)
        return Memory(card.stability, card.difficulty, card.last_review, card.due)

    def recall(self, now: datetime) -> float | None:
        """The probability that the rule is still kept at ``now``; None: not yet rated."""
        if self.stability is None:
            return None
        return float(_scheduler().get_card_retrievability(self._card(now), now.astimezone(UTC)))

    def _card(self, now: datetime) -> Card:
        if self.stability is None:
            return Card(card_id=0, due=now.astimezone(UTC))
        return Card(
            0, State.Review, None, self.stability, self.difficulty, _utc(self.due), _utc(self.last)
        )


@cache
def _scheduler() -> Scheduler:
    """Days only, and nothing random: blocks of a day are rated, not flash cards of a minute."""
    return Scheduler(learning_steps=(), relearning_steps=(), enable_fuzzing=False)


def _utc(moment: datetime | None) -> datetime | None:
    return moment.astimezone(UTC) if moment else None
