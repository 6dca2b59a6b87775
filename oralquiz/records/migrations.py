"""The tables, as the migrations that made them. A migration that has shipped is never edited.

classes, pupils          who
rounds                   one recorded session: its file, when, what for
sums                     one turn of a round: whose, which terms
answers                  one attempt at a sum: what was heard, the verdict, the latency
corrections              the teacher's later verdicts, each on top of the one before
rule_uses                which rule each column of each term needed
rule_answers             each sum with each rule it needed: the verdict and latency that count
named                    which pupil each session names, turn by turn, whether already asked or not
erased_turns             the turns of a session whose pupil was erased, so that no copy of it brings
                         them back; ``done`` once the file is rewritten too
erased_names             a slow salted hash of each name that was erased, and when
cards                    pupils' own codes for practice at home
practice_sets            what a class practises at home; the newest counts
learners                 what practice knows of each pupil (JSON), and from which answers;
                         ``behind``: something was stored since
rule_states              of it, for every rule: skill, moves seen, mastered, when due
homework                 pages that went home: whose, when, the head of their sessions (JSON)
counted (a view)         what counts of a sum: verdict, value, latency

What counts is decided once, by ``rounds.Answered``, and written down with the sum.
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


@migrations()
def what_counts_and_who_is_where(db: Database) -> None:
    sums = db.table("sums")
    for column, kind in (("verdict", str), ("value", int), ("latency_s", float)):
        sums.add_column(column, kind)
    write_what_counts(db)
    db.view("counted").drop()
    db.create_view(
        "counted",
        "select id as sum_id, pupil_id, round_id, verdict, value, latency_s from sums",
    )
    sums.create_index(["pupil_id", "verdict", "latency_s"])
    db.table("rule_answers").create(
        {"sum_id": int, "pupil_id": int, "rule": str, "verdict": str, "latency_s": float},
        not_null={"sum_id", "pupil_id", "rule", "verdict"},
        foreign_keys=[("sum_id", "sums", "id"), ("pupil_id", "pupils", "id")],
    )
    db.execute(
        """
        insert into rule_answers (sum_id, pupil_id, rule, verdict, latency_s)
        select distinct sums.id, pupil_id, rule_uses.rule, verdict, latency_s
        from sums join rule_uses on sum_id = sums.id where verdict is not null
        """
    )
    db.table("rule_answers").create_index(["pupil_id", "rule", "verdict", "latency_s"])
    db.table("rule_answers").create_index(["sum_id"])
    rounds = db.table("rounds")
    rounds.add_column("voices", int)  # 1: the file holds a voice; 0: none; null: not looked at yet
    rounds.create_index(["created"])
    rounds.create_index(["file"])
    db.table("named").create(
        {"round_id": str, "turn": int, "name": str},
        pk=("round_id", "turn"),
        not_null={"name"},
        foreign_keys=[("round_id", "rounds", "id")],
    )
    db.table("named").create_index(["name"])
    db.table("erased_turns").create(
        {"round_id": str, "turn": int, "file": str, "done": int},
        pk=("round_id", "turn"),
        not_null={"file", "done"},
    )


def write_what_counts(db: Database) -> None:
    """Write down with every sum of older records what counts of it.

    The last correction, else the last attempt; a correction by ear without a number stands with
    the number that it fits; the latency of a voice that
    was asked for once and judged right or wrong.
    """
    db.execute(
        """
        update sums set (verdict, value, latency_s) = (
          select
            coalesce(ear.verdict, heard.verdict),
            case when ear.id is null or ear.value is not null
                then coalesce(ear.value, heard.value)
              when ear.verdict = 'right' then sums.answer
              when ear.verdict = 'silent' then null
              when ear.verdict = 'wrong' and heard.value = sums.answer then null
              else heard.value end,
            case when heard.attempt = 0 and not heard.typed
              and coalesce(ear.verdict, heard.verdict) in ('right', 'wrong')
              then heard.latency_s end
          from (select 1)
            left join answers as heard on heard.id = (
              select id from answers where sum_id = sums.id order by attempt desc limit 1)
            left join corrections as ear on ear.id = (
              select max(id) from corrections where sum_id = sums.id)
        )
        """
    )


@migrations()
def cards(db: Database) -> None:
    db.table("cards").create(
        {"code": str, "pupil_id": int, "name": str, "class_name": str, "expires": float},
        pk="code",
        not_null={"pupil_id", "name", "class_name", "expires"},
    )
    db.table("cards").create_index(["pupil_id"], unique=True)


@migrations()
def erased_names(db: Database) -> None:
    db.table("erased_names").create(
        {"hash": bytes, "salt": bytes, "erased": str}, pk="hash", not_null={"salt", "erased"}
    )


@migrations()
def practice_that_adapts(db: Database) -> None:
    sums = db.table("sums")
    for column, kind in (
        ("pace_s", float),
        ("deadline_s", float),
        ("policy", str),
        ("began", str),  # ISO 8601; of older records when the round was made
        ("place", str),  # class, home; empty: not known
        ("rule", str),  # for which it was chosen
        ("reason", str),
    ):
        sums.add_column(column, kind)
    db.execute(
        """
        update sums set (pace_s, began) =
          (select rounds.pace_s, rounds.created from rounds where rounds.id = sums.round_id)
        """
    )
    db.table("learners").create(
        {"pupil_id": int, "state": str, "first": int, "told": int, "digest": str},
        pk="pupil_id",
        not_null={"state", "first", "told", "digest"},
        foreign_keys=[("pupil_id", "pupils", "id")],
    )
    db.table("rule_states").create(
        {
            "pupil_id": int,
            "rule": str,
            "mean": float,
            "sd": float,
            "uses": int,
            "mastered": int,
            "due": str,
        },
        pk=("pupil_id", "rule"),
        not_null={"mean", "sd", "uses", "mastered"},
        foreign_keys=[("pupil_id", "pupils", "id")],
    )


@migrations()
def who_is_behind(db: Database) -> None:
    learners = db.table("learners")
    learners.add_column("behind", int, not_null_default=0)
    learners.add_column("course", str, not_null_default="two-hands")
    db.execute("update learners set behind = 1")


@migrations()
def homework(db: Database) -> None:
    db.table("homework").create(
        {"id": str, "pupil_id": int, "given": str, "head": str},
        pk="id",
        not_null={"pupil_id", "given", "head"},
        foreign_keys=[("pupil_id", "pupils", "id")],
    )


practice_migrations = Migrations("oralquiz-web")
"""Once the web app's own, and shipped under that name."""


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
