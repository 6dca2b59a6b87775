"""The names that were erased, kept so that a name can be checked but not read.

A copy of a session may come back from another computer, and these records may never have known it.
What was recorded in it before a name was erased here stays out under that name. For that, a slow
salted hash of the name is kept. It is not a secret from somebody who has these records and guesses
the name: each guess takes HASH_COST.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import UTC, datetime
from pathlib import Path

from sqlite_utils import Database

from oralquiz.records.names import clean_name
from oralquiz.session import ERASED, Session

HASH_COST = {"n": 2**14, "r": 8, "p": 1}
"""scrypt's: 16 MiB and about 50 ms a name (RFC 7914)."""


def note_erased_name(db: Database, name: str) -> None:
    """Note, within a change, that ``name`` was erased now."""
    when = datetime.now(UTC).isoformat(timespec="seconds")
    salt = _salt(db) or secrets.token_bytes(16)
    db.execute(
        "insert or replace into erased_names (hash, salt, erased) values (?, ?, ?)",
        [_hashed(name, salt), salt, when],
    )


def note_erased_turns(db: Database, session: Session, file: Path) -> None:
    """Note which turns of ``session``, new to these records and kept at ``file``, are nobody's any
    more: those of names that were erased here after it was held."""
    held = _time(session.round.created)
    erased = {
        row["hash"]
        for row in db.query("select hash, erased from erased_names")
        if held < _time(row["erased"])
    }
    salt = _salt(db)
    if not erased or salt is None:
        return
    names = {turn.pupil for turn in session.round.turns} - {ERASED}
    gone = {name for name in names if _hashed(name, salt) in erased}
    kept_at = str(file.resolve())
    db.table("erased_turns").insert_all(
        (
            {
                "round_id": session.header["id"],
                "turn": index,
                "file": kept_at,
                "done": 0,
            }
            for index, turn in enumerate(session.round.turns)
            if turn.pupil in gone
        ),
        ignore=True,
    )


def _salt(db: Database) -> bytes | None:
    """The salt of these records, the same for every name; None before the first."""
    return next((row["salt"] for row in db.query("select salt from erased_names limit 1")), None)


def _hashed(name: str, salt: bytes) -> bytes:
    return hashlib.scrypt(clean_name(name).casefold().encode(), salt=salt, dklen=16, **HASH_COST)


def _time(text: str) -> datetime:
    """A time with its zone; one without is this computer's."""
    when = datetime.fromisoformat(text)
    return when if when.tzinfo else when.astimezone()
