"""What a class is to practise at home: one row for each set, of which the newest counts."""

from __future__ import annotations

from dataclasses import dataclass

from sqlite_utils import Database


@dataclass(frozen=True)
class PracticeSet:
    """Today's set. ``created`` is an ISO 8601 time; empty for a set that nobody chose."""

    step: str
    count: int = 6
    terms: int = 5
    pace_s: float = 2.5
    created: str = ""


def give_set(db: Database, class_name: str, wanted: PracticeSet) -> None:
    """Make ``wanted`` what ``class_name`` practises from now on."""
    db.table("practice_sets").insert({"class_name": class_name, **vars(wanted)})


def todays_set(db: Database, class_name: str) -> PracticeSet | None:
    """The newest set of ``class_name``; None when there is none."""
    rows = db.query(
        "select step, count, terms, pace_s, created from practice_sets "
        "where class_name = ? order by id desc limit 1",
        [class_name],
    )
    row = next(iter(rows), None)
    return PracticeSet(**row) if row else None
