"""What a class is to practise at home: one row a set, the newest counts."""

from __future__ import annotations

import json
from dataclasses import dataclass
from statistics import median

from sqlite_utils import Database, Migrations

practice_migrations = Migrations("oralquiz-web")


@practice_migrations()
def practice_sets(db: Database) -> None:
    db.table("practice_sets").create(
        {
            "id": int,
            "class_name": str,
            "created": str,
            "step": str,
            "count": int,
            "terms": int,
            "pace_s": float,
        },
        pk="id",
        not_null={"class_name", "created", "step", "count", "terms", "pace_s"},
    )


@dataclass(frozen=True)
class PracticeSet:
    """Today's set. ``created`` is an ISO 8601 time; empty for the set of who was given none."""

    step: str
    count: int = 6
    terms: int = 5
    pace_s: float = 2.5
    created: str = ""


def give_set(db: Database, class_name: str, wanted: PracticeSet) -> None:
    """``wanted`` is what ``class_name`` practises from now on."""
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


@dataclass(frozen=True)
class Best:
    """A pupil's best at one step: the most right of a round, and the quickest such round's median
    latency of spoken right answers in seconds (None: all typed)."""

    step: str
    right: int
    of: int
    latency_s: float | None


def bests(db: Database, pupil: int) -> list[Best]:
    """For each step practised, the round with the largest share right, the quicker of equals."""
    rounds: dict[tuple[str, str], list[tuple[str | None, float | None]]] = {}
    for row in db.query(
        """
        select rounds.id as round, rounds.step, verdict,
          case when exists (select 1 from answers where answers.sum_id = counted.sum_id and typed)
          then null else latency_s end as latency_s
        from counted join rounds on rounds.id = round_id
        where pupil_id = ? order by rounds.created
        """,
        [pupil],
    ):
        rounds.setdefault((row["step"] or "", row["round"]), []).append(
            (row["verdict"], row["latency_s"])
        )
    best: dict[str, Best] = {}
    for (step, _), sums in rounds.items():
        quick = [latency for verdict, latency in sums if verdict == "right" and latency is not None]
        right = sum(verdict == "right" for verdict, _ in sums)
        this = Best(step, right, len(sums), median(quick) if quick else None)
        if right and (step not in best or _rank(this) > _rank(best[step])):
            best[step] = this
    return list(best.values())


def _rank(best: Best) -> tuple[float, float]:
    return best.right / best.of, -(best.latency_s if best.latency_s is not None else 1e9)


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
    """The newest rounds but ``skip``, all or those of one pupil, newest first."""
    where = "where pupil_id = :pupil" if pupil is not None else ""
    rows = db.query(
        f"""
        select rounds.id, rounds.created, rounds.name, rounds.step, rounds.file,
          json_group_array(distinct pupils.name) as pupils,
          sum(verdict = 'right') as right, count(*) as of, sum(verdict = 'unclear') as waiting
        from counted join rounds on rounds.id = round_id join pupils on pupils.id = pupil_id
        {where} group by rounds.id order by rounds.created desc, rounds.rowid desc
        limit :limit offset :skip
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
