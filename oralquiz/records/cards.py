"""Pupils' own cards: a code each, good for two weeks, with which they practise at home."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from sqlite_utils import Database

from oralquiz.records.database import changing, open_records, records_in_memory
from oralquiz.records.pupil_list import Pupil

CARD_LASTS_S = 14 * 24 * 3600.0


@dataclass(frozen=True)
class Card:
    """What ``code`` opens until ``expires`` (seconds since 1970): one pupil's practice."""

    code: str
    pupil: int
    name: str
    class_name: str
    expires: float


class Cards:
    """The cards in the records at ``path`` (None: in memory), for any thread; other programs may
    use them too. ``now`` is in seconds since 1970."""

    def __init__(self, path: Path | None = None) -> None:
        self._db = open_records(path, any_thread=True) if path else records_in_memory()
        self._alone = Lock()

    def give(self, pupil: Pupil, code: str, now: float) -> Card:
        """A new card for ``pupil``; the one before stops working."""
        card = Card(code, pupil.id, pupil.name, pupil.class_name, now + CARD_LASTS_S)
        with self._alone, changing(self._db):
            remove_cards(self._db, pupil.id)
            self._db.execute("delete from cards where expires <= ?", [now])
            self._db.table("cards").insert(
                {
                    "code": card.code,
                    "pupil_id": card.pupil,
                    "name": card.name,
                    "class_name": card.class_name,
                    "expires": card.expires,
                }
            )
        return card

    def of(self, pupil: Pupil, now: float) -> Card | None:
        """The pupil's card; None when there is no valid one."""
        return next(
            (c for c in self._good("pupil_id = ?", pupil.id, now) if c.name == pupil.name), None
        )

    def called(self, code: str, now: float) -> Card | None:
        """The card with ``code``; None when there is no valid one."""
        wanted, found = code.encode(), None
        for card in self._good("1 = ?", 1, now):  # all, so that the time taken tells nothing
            if secrets.compare_digest(card.code.encode(), wanted):
                found = card
        return found

    def take_back(self, pupil: Pupil) -> None:
        """The pupil's card stops working."""
        with self._alone:
            remove_cards(self._db, pupil.id)

    def close(self) -> None:
        with self._alone:
            self._db.close()

    def _good(self, where: str, value: int, now: float) -> list[Card]:
        with self._alone:
            rows = list(
                self._db.query(
                    f"""
                    select code, pupil_id as pupil, name, class_name, expires from cards
                    where expires > ? and {where}
                    """,
                    [now, value],
                )
            )
        return [Card(**row) for row in rows]


def remove_cards(db: Database, pupil: int) -> None:
    """Take every card of the pupil with this number, also one that has run out."""
    db.execute("delete from cards where pupil_id = ?", [pupil])
