"""Rounds that older versions stored: whom their files name, and whether they hold a voice."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from sqlite_utils import Database

from oralquiz.errors import OralquizError
from oralquiz.records.database import changing
from oralquiz.session import ERASED, Session, open_session


def look_into_older(db: Database) -> None:
    """Open, once, each session file that was stored before the records knew who is in it.

    One that is gone or cannot be read is tried again next time.
    """
    rows = list(db.query("select id, file from rounds where voices is null"))
    note_sessions(db, ((row["id"], Path(row["file"])) for row in rows))


def note_sessions(db: Database, rounds: Iterable[tuple[str, Path]]) -> None:
    for round_id, path in rounds:
        try:
            session = open_session(path)
        except (OralquizError, OSError):
            continue
        if session.header["id"] == round_id:
            _note(db, round_id, session)


def _note(db: Database, round_id: str, session: Session) -> None:
    with changing(db):
        db.table("named").insert_all(
            (
                {"round_id": round_id, "turn": index, "name": turn.pupil}
                for index, turn in enumerate(session.round.turns)
                if turn.pupil != ERASED
            ),
            ignore=True,
        )
        note_voices(db, round_id, bool(session.audio[:, 1].any()))


def note_voices(db: Database, round_id: str, voices: bool) -> None:
    """Note whether the file of a round now holds a voice."""
    db.execute("update rounds set voices = ? where id = ?", [int(voices), round_id])
