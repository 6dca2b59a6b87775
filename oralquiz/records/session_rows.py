"""A session into the records. Storing the same session again replaces what was there."""

from __future__ import annotations

from pathlib import Path

from sqlite_utils import Database

from oralquiz.beads import explain
from oralquiz.records.pupil_list import add_pupil, pupils
from oralquiz.session import ERASED, Session


def store(db: Database, session: Session, file: Path) -> None:
    """Put ``session``, kept in ``file``, into the records.

    Pupils not known yet are added with the consent that the session noted.
    """
    head, round_ = session.header, session.round
    known = {pupil.name: pupil.id for pupil in pupils(db)}
    turns = [turn for turn in session.turns if turn.pupil != ERASED]
    for turn in turns:
        if turn.pupil not in known:
            pupil = add_pupil(db, turn.pupil, created=round_.created, consent=turn.consent)
            known[turn.pupil] = pupil.id
    with db.atomic():
        _forget(db, head["id"])
        db.table("rounds").insert(
            {
                "id": head["id"],
                "created": round_.created,
                "name": round_.name,
                "step": round_.step,
                "rule": round_.rule,
                "columns": round_.columns,
                "pace_s": session.options.pace_s,
                "voice": head["voice"],
                "model": head["model"],
                "file": str(file.resolve()),
            }
        )
        for turn in turns:
            sum_id = (
                db.table("sums")
                .insert(
                    {
                        "round_id": head["id"],
                        "turn": turn.index,
                        "pupil_id": known[turn.pupil],
                        "terms": str(turn.sum),
                        "answer": turn.sum.answer,
                        "ended": int(turn.ended),
                    }
                )
                .last_pk
            )
            db.table("answers").insert_all(
                {
                    "sum_id": sum_id,
                    "attempt": number,
                    "verdict": attempt.verdict.value,
                    "value": attempt.value,
                    "words": attempt.words,
                    "confidence": attempt.candidates[0].confidence if attempt.candidates else None,
                    "latency_s": attempt.latency_s,
                    "typed": int(attempt.typed),
                }
                for number, attempt in enumerate(turn.attempts)
            )
            db.table("corrections").insert_all(
                {
                    "sum_id": sum_id,
                    "verdict": c.verdict.value,
                    "value": c.value,
                    "by": c.by,
                    "when": c.when,
                }
                for c in turn.corrections
            )
            db.table("rule_uses").insert_all(
                {
                    "sum_id": sum_id,
                    "term": index,
                    "column": move.column,
                    "rule": move.rule.name,
                    "carry": int(move.carry),
                }
                for index, term in enumerate(explain(turn.sum, round_.columns, round_.move_order))
                for move in term.moves
            )


def holds(db: Database, session: Session) -> bool:
    """Whether ``session`` is in the records."""
    return bool(db.table("rounds").count_where("id = ?", [session.header["id"]]))


def _forget(db: Database, round_id: str) -> None:
    """Remove the rows of one round; the pupils stay."""
    for table in ("answers", "corrections", "rule_uses"):
        db.execute(
            f"delete from {table} where sum_id in (select id from sums where round_id = ?)",
            [round_id],
        )
    db.execute("delete from sums where round_id = ?", [round_id])
    db.execute("delete from rounds where id = ?", [round_id])
