"""Putting a session into the records. Storing the same session again replaces what was there."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from oralquiz.beads import explain
from oralquiz.errors import BadInput
from oralquiz.records.database import changing
from oralquiz.records.erased_names import note_erased_turns
from oralquiz.records.pupil_list import Pupil, insert_pupil, pupils
from oralquiz.rounds import Answered
from oralquiz.session import ERASED, Session, erase_turns, only_writer, open_session
from oralquiz.sound import SESSION_RATE


def store_file(db: Database, file: Path) -> Session:
    """Put the session in ``file`` into the records as it is now; returns it.

    Pupils who were erased from another copy of it are erased from this one first, and in a session
    that is new here also those who were erased after it was held. Nobody else writes the file
    meanwhile. Raises BadInput, and removes the file, if nobody is left in it.
    """
    with only_writer(file):
        session = open_session(file)
        if not holds(db, session):
            note_erased_turns(db, session, file)
        session = _without_erased(db, session, file)
        store(db, session, file)
        session = _without_erased(db, session, file)  # who was erased since it was looked for
    mark_erased(db, session.header["id"])
    return session


def _without_erased(db: Database, session: Session, file: Path) -> Session:
    """The session in ``file``, without those whose turns no longer belong to anybody."""
    round_id = session.header["id"]
    if not erase_turns(file, session, turns_erased(db, round_id)):
        return session
    if not file.exists():
        with changing(db):
            forget_round(db, round_id)
        raise BadInput(f"{file}: everybody in this session was erased")
    return open_session(file)


def store(db: Database, session: Session, file: Path) -> None:
    """Put ``session``, kept in ``file``, into the records.

    Pupils not known yet are added with the consent that the session noted. A turn whose pupil was
    erased stays out.
    """
    head, round_ = session.header, session.round
    with changing(db):
        if not holds(db, session):  # here again: nobody erases meanwhile
            note_erased_turns(db, session, file)
        gone = turns_erased(db, head["id"])
        named = {
            index: turn.pupil
            for index, turn in enumerate(round_.turns)
            if turn.pupil != ERASED and index not in gone
        }
        turns = [turn for turn in session.turns if turn.index in named]
        known = _known(db, turns, round_.created)
        forget_round(db, head["id"])
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
                "voices": int(session.audio[:, 1].any()),
            }
        )
        db.table("named").insert_all(
            {"round_id": head["id"], "turn": index, "name": name} for index, name in named.items()
        )
        for turn in turns:
            _store_turn(db, session, turn, known[turn.pupil].id)
        for pupil in {known[turn.pupil].id for turn in turns}:
            db.execute("update learners set behind = 1 where pupil_id = ?", [pupil])


def _known(db: Database, turns: Iterable[Answered], created: str) -> dict[str, Pupil]:
    """The pupils of ``turns`` by name; those who were not known are added."""
    known = {pupil.name: pupil for pupil in pupils(db)}
    for turn in turns:
        if turn.pupil not in known:
            known[turn.pupil] = insert_pupil(db, turn.pupil, created=created, consent=turn.consent)
    return known


def _store_turn(db: Database, session: Session, turn: Answered, pupil: int) -> None:
    verdict, latency_s = turn.verdict, turn.speed_s
    asked = session.round.turns[turn.index]
    sum_id = (
        db.table("sums")
        .insert(
            {
                "round_id": session.header["id"],
                "turn": turn.index,
                "pupil_id": pupil,
                "terms": str(turn.sum),
                "answer": turn.sum.answer,
                "ended": int(turn.ended),
                "verdict": verdict.value if verdict else None,
                "value": turn.value,
                "latency_s": latency_s,
                "pace_s": turn.pace_s,
                "deadline_s": session.options.answer_within_s,
                "policy": session.options.policy.name,
                "began": _began(session, turn),
                "place": session.round.place,
                "rule": asked.rule,
                "reason": asked.reason,
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
        {"sum_id": sum_id, "verdict": c.verdict.value, "value": c.value, "by": c.by, "when": c.when}
        for c in turn.corrections
    )
    uses = list(_rule_uses(session, turn))
    db.table("rule_uses").insert_all({"sum_id": sum_id, **use} for use in uses)
    if verdict is not None:
        db.table("rule_answers").insert_all(
            {
                "sum_id": sum_id,
                "pupil_id": pupil,
                "rule": rule,
                "verdict": verdict.value,
                "latency_s": latency_s,
            }
            for rule in sorted({use["rule"] for use in uses})
        )


def _began(session: Session, turn: Answered) -> str:
    """When the sum began, as an ISO 8601 time."""
    made = datetime.fromisoformat(session.round.created)
    return (made + timedelta(seconds=turn.start / SESSION_RATE)).isoformat(timespec="seconds")


def _rule_uses(session: Session, turn: Answered) -> Iterable[dict[str, Any]]:
    """Which rule each column of each term needed."""
    round_ = session.round
    for index, term in enumerate(explain(turn.sum, round_.columns, round_.move_order)):
        for move in term.moves:
            yield {
                "term": index,
                "column": move.column,
                "rule": move.rule.name,
                "carry": int(move.carry),
            }


def holds(db: Database, session: Session) -> bool:
    """Whether ``session`` is in the records."""
    return bool(db.table("rounds").count_where("id = ?", [session.header["id"]]))


def turns_erased(db: Database, round_id: str) -> frozenset[int]:
    """The turns of this session whose pupil was erased, in whichever copy."""
    rows = db.query("select turn from erased_turns where round_id = ?", [round_id])
    return frozenset(row["turn"] for row in rows)


def mark_erased(db: Database, round_id: str) -> None:
    """Note that the file of this session was rewritten without those erased."""
    db.execute("update erased_turns set done = 1 where round_id = ? and not done", [round_id])


PARTS_OF_A_SUM = ("answers", "corrections", "rule_uses", "rule_answers")
"""The tables with rows of one sum."""


def forget_round(db: Database, round_id: str) -> None:
    """Remove the rows of one round; the pupils stay."""
    for table in PARTS_OF_A_SUM:
        db.execute(
            f"delete from {table} where sum_id in (select id from sums where round_id = ?)",
            [round_id],
        )
    for table in ("sums", "named"):
        db.execute(f"delete from {table} where round_id = ?", [round_id])
    db.execute("delete from rounds where id = ?", [round_id])
