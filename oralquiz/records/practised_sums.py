"""Which sums a pupil had lately, so that the next set brings new ones."""

from __future__ import annotations

from collections.abc import Iterable

from sqlite_utils import Database

from oralquiz.beads import Sum
from oralquiz.records.pupil_list import find_pupil

NOT_AGAIN = 6
"""How many of a pupil's last rounds a new round takes no sum from, where there are others."""


def had_lately(db: Database, names: Iterable[str]) -> dict[str, frozenset[tuple[int, ...]]]:
    """The terms of the sums that a new round should not give each pupil again, by name.

    Raises BadInput if there is no such pupil.
    """
    return {name: recent_sums(db, name, NOT_AGAIN) for name in names}


def recent_sums(db: Database, name: str, sessions: int) -> frozenset[tuple[int, ...]]:
    """The terms of every sum the pupil had in the last ``sessions`` sessions.

    Raises BadInput if there is no such pupil.
    """
    rows = db.query(
        """
        select distinct terms from sums where pupil_id = :pupil and round_id in (
            select rounds.id from rounds join sums on sums.round_id = rounds.id
            where sums.pupil_id = :pupil
            group by rounds.id order by rounds.created desc limit :sessions
        )
        """,
        {"pupil": find_pupil(db, name).id, "sessions": sessions},
    )
    return frozenset(Sum.parse(row["terms"]).terms for row in rows)
