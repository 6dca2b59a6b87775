"""Which sums a pupil had lately, so that the next set brings new ones."""

from __future__ import annotations

from sqlite_utils import Database

from oralquiz.beads import Sum
from oralquiz.records.pupil_list import find_pupil


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
