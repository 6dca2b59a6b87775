"""A pupil's answers as `learn` takes them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from sqlite_utils import Database

from oralquiz.beads import Sum
from oralquiz.judge import Verdict, number_said, previous_answers
from oralquiz.learn import Answer, JudgedSum, monday_of
from oralquiz.records.pupil_list import find_pupil, pupils


def answers_of(db: Database, name: str) -> list[Answer]:
    """Every answered sum of the pupil, oldest first, with the verdict that counts.

    Days are those of this machine's time zone: an evening's lesson falls on one day. Raises
    BadInput if there is no such pupil.
    """
    rows = list(
        db.query(
            """
            select rounds.id as round_id, rounds.created, rounds.columns, sums.terms, sums.answer,
              sums.deadline_s, coalesce(sums.pace_s, rounds.pace_s) as pace_s,
              counted.verdict, counted.value, counted.latency_s
            from sums join rounds on rounds.id = sums.round_id
              join counted on counted.sum_id = sums.id
            where sums.pupil_id = ?
            order by rounds.created, rounds.id, sums.turn
            """,
            [find_pupil(db, name).id],
        )
    )
    said = [_said(row) for row in rows]
    previous = previous_answers(zip((row["round_id"] for row in rows), said, strict=True))
    return [
        _answer(row, Verdict(row["verdict"]), *numbers)
        for row, *numbers in zip(rows, said, previous, strict=True)
        if row["verdict"] is not None
    ]


def judged_of_class(db: Database, class_name: str, weeks: int) -> dict[str, list[JudgedSum]]:
    """The answered sums of each pupil of a class, by name: those of the week in which one of them
    answered last, and of the ``weeks`` - 1 before it."""
    names = {pupil.id: pupil.name for pupil in pupils(db, class_name)}
    theirs = f"pupil_id in ({', '.join('?' * len(names))})"
    newest = db.query(
        f"""
        select created from rounds
        where exists (select 1 from sums where round_id = rounds.id and {theirs})
        order by created desc limit 1
        """,
        [*names],
    )
    found: dict[str, list[JudgedSum]] = {}
    for last in newest:
        since = monday_of(_day(last["created"])) - timedelta(weeks=weeks - 1)
        for row in db.query(
            f"""
            select pupil_id, rounds.created, verdict, latency_s, deadline_s,
              coalesce(sums.pace_s, rounds.pace_s) as pace_s
            from sums join rounds on rounds.id = sums.round_id
            where rounds.created >= ? and verdict is not null and {theirs}
            """,
            [since.isoformat(), *names],
        ):
            found.setdefault(names[row["pupil_id"]], []).append(_judged(row))
    return found


def _judged(row: dict[str, Any]) -> JudgedSum:
    return JudgedSum(
        _day(row["created"]),
        Verdict(row["verdict"]),
        row["latency_s"],
        row["deadline_s"],
        row["pace_s"],
    )


def _day(created: str) -> date:
    return datetime.fromisoformat(created).astimezone().date()


def _said(row: dict[str, Any]) -> int | None:
    """The number the pupil said; None where it is not known."""
    if row["verdict"] is None:
        return None
    verdict = Verdict(row["verdict"])
    return number_said(verdict, row["value"])


def _answer(
    row: dict[str, Any], verdict: Verdict, said: int | None, previous: int | None
) -> Answer:
    return Answer(
        day=_day(row["created"]),
        terms=Sum.parse(row["terms"]),
        verdict=verdict,
        said=said,
        latency_s=row["latency_s"],
        columns=row["columns"],
        previous=previous,
        deadline_s=row["deadline_s"],
        pace_s=row["pace_s"],
    )
