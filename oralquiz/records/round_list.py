"""The recorded rounds: the list of what was held, and the file of each."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from oralquiz.errors import BadInput


@dataclass(frozen=True)
class Held:
    """One recorded round, for the list of what was held."""

    id: str
    created: str
    name: str
    step: str
    file: str
    pupils: tuple[str, ...]
    right: int
    of: int
    waiting: int


def held(db: Database, *, pupil: int | None = None, limit: int = 40, skip: int = 0) -> list[Held]:
    """The rounds, newest first, after ``skip`` of them: all, or those of one pupil.

    For one pupil, only what that pupil was asked is counted.
    """
    theirs, shown = "", "exists (select 1 from sums where round_id = rounds.id)"
    if pupil is not None:  # from the pupil's sums: few; else from the newest round on
        theirs = "and pupil_id = :pupil"
        shown = "id in (select round_id from sums where pupil_id = :pupil)"
    rows = db.query(
        f"""
        with shown as (
          select rounds.rowid as number, id, created, name, step, file from rounds
          where {shown}
          order by created desc, rounds.rowid desc limit :limit offset :skip
        )
        select shown.id, shown.created, shown.name, shown.step, shown.file,
          json_group_array(distinct pupils.name) as pupils,
          sum(verdict = 'right') as right, count(*) as of, sum(verdict = 'unclear') as waiting
        from shown join sums on sums.round_id = shown.id {theirs}
          join pupils on pupils.id = pupil_id
        group by shown.id order by shown.created desc, number desc
        """,
        {"pupil": pupil, "limit": limit, "skip": skip},
    )
    return [
        Held(
            r["id"],
            r["created"],
            r["name"],
            r["step"] or "",
            r["file"],
            tuple(sorted(json.loads(r["pupils"]))),
            r["right"] or 0,
            r["of"],
            r["waiting"] or 0,
        )
        for r in rows
    ]


def file_of(db: Database, round_id: str, pupil: int | None = None) -> Path:
    """The session file of a round (of one in which ``pupil`` took part). Raises BadInput."""
    where = "" if pupil is None else "and id in (select round_id from sums where pupil_id = :pupil)"
    row = next(
        db.query(
            f"select file from rounds where id = :id {where}", {"id": round_id, "pupil": pupil}
        ),
        None,
    )
    if row is None or not Path(row["file"]).exists():
        raise BadInput("there is no such round")
    return Path(row["file"])
