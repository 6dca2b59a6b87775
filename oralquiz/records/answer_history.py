"""A pupil's answers as learning looks at them."""

from __future__ import annotations

from datetime import datetime

from sqlite_utils import Database

from oralquiz.beads import Sum
from oralquiz.judge import Verdict
from oralquiz.learn import Answer
from oralquiz.records.pupil_list import find_pupil
from oralquiz.session import fitting


def answers_of(db: Database, name: str) -> list[Answer]:
    """Every answered sum of the pupil, oldest first, with the verdict that counts.

    Days are those of this machine's time zone: an evening's lesson is one day. Raises BadInput if
    there is no such pupil.
    """
    rows = db.query(
        """
        select rounds.id as round_id, rounds.created, rounds.columns, sums.terms, sums.answer,
          counted.verdict, counted.value, counted.latency_s, counted.typed, counted.attempts
        from sums join rounds on rounds.id = sums.round_id
          join counted on counted.sum_id = sums.id
        where sums.pupil_id = ? and counted.verdict is not null
        order by rounds.created, rounds.id, sums.turn
        """,
        [find_pupil(db, name).id],
    )
    answers: list[Answer] = []
    before: tuple[str, int] | None = None  # the round and the answer of the sum before
    for row in rows:
        verdict = Verdict(row["verdict"])
        judged = verdict in (Verdict.RIGHT, Verdict.WRONG)
        told_by_speed = judged and row["attempts"] == 1 and not row["typed"]
        answers.append(
            Answer(
                day=datetime.fromisoformat(row["created"]).astimezone().date(),
                terms=Sum.parse(row["terms"]),
                verdict=verdict,
                said=fitting(row["value"], verdict, row["answer"]) if judged else None,
                latency_s=row["latency_s"] if told_by_speed else None,
                columns=row["columns"],
                previous=before[1] if before and before[0] == row["round_id"] else None,
            )
        )
        before = (row["round_id"], row["answer"])
    return answers
