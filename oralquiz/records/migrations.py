"""The tables, as the migrations that made them. A migration that has shipped is never edited.

classes, pupils          who
rounds                   one recorded session: its file, when, what for
sums                     one turn of a round: whose, which terms
answers                  one attempt at a sum: what was heard, the verdict, the latency
corrections              the teacher's later verdicts, each on top of the one before
rule_uses                which rule each column of each term needed
counted (a view)         the verdict that counts for a sum: last correction, else last attempt
"""

from __future__ import annotations

from sqlite_utils import Database, Migrations

migrations = Migrations("oralquiz")


@migrations()
def first_tables(db: Database) -> None:
    db.table("classes").create({"id": int, "name": str}, pk="id", not_null={"name"})
    db.table("classes").create_index(["name"], unique=True)
    db.table("pupils").create(
        {"id": int, "name": str, "class_id": int, "consent": int, "created": str},
        pk="id",
        not_null={"name", "consent", "created"},
        defaults={"consent": 0},
        foreign_keys=[("class_id", "classes", "id")],
    )
    db.table("pupils").create_index(["name"], unique=True)
    db.table("rounds").create(
        {
            "id": str,
            "created": str,
            "name": str,
            "step": str,
            "rule": str,
            "columns": int,
            "pace_s": float,
            "voice": str,
            "model": str,
            "file": str,
        },
        pk="id",
        not_null={"created", "name", "file"},
    )
    db.table("sums").create(
        {
            "id": int,
            "round_id": str,
            "turn": int,
            "pupil_id": int,
            "terms": str,
            "answer": int,
            "ended": int,
        },
        pk="id",
        not_null={"round_id", "turn", "pupil_id", "terms", "answer"},
        foreign_keys=[("round_id", "rounds", "id"), ("pupil_id", "pupils", "id")],
    )
    db.table("sums").create_index(["round_id", "turn"], unique=True)
    db.table("sums").create_index(["pupil_id"])
    db.table("answers").create(
        {
            "id": int,
            "sum_id": int,
            "attempt": int,
            "verdict": str,
            "value": int,
            "words": str,
            "confidence": float,
            "latency_s": float,
            "typed": int,
        },
        pk="id",
        not_null={"sum_id", "attempt", "verdict"},
        foreign_keys=[("sum_id", "sums", "id")],
    )
    db.table("answers").create_index(["sum_id", "attempt"], unique=True)
    db.table("corrections").create(
        {"id": int, "sum_id": int, "verdict": str, "value": int, "by": str, "when": str},
        pk="id",
        not_null={"sum_id", "verdict", "by", "when"},
        foreign_keys=[("sum_id", "sums", "id")],
    )
    db.table("corrections").create_index(["sum_id"])
    db.table("rule_uses").create(
        {"id": int, "sum_id": int, "term": int, "column": int, "rule": str, "carry": int},
        pk="id",
        not_null={"sum_id", "term", "column", "rule"},
        foreign_keys=[("sum_id", "sums", "id")],
    )
    db.table("rule_uses").create_index(["sum_id"])
    db.create_view(
        "counted",
        """
        select sums.id as sum_id, sums.pupil_id, sums.round_id,
          coalesce(
            (select verdict from corrections where sum_id = sums.id order by id desc limit 1),
            (select verdict from answers where sum_id = sums.id order by attempt desc limit 1)
          ) as verdict,
          (select latency_s from answers where sum_id = sums.id and attempt = 0) as latency_s,
          coalesce(
            (select value from corrections where sum_id = sums.id order by id desc limit 1),
            (select value from answers where sum_id = sums.id order by attempt desc limit 1)
          ) as value,
          (select max(typed) from answers where sum_id = sums.id) as typed,
          (select count(*) from answers where sum_id = sums.id) as attempts
        from sums
        """,
    )
