"""Erasing a pupil for good, out of everything that this program keeps.

The rows go first, in one change that also notes which turns of which sessions no longer belong to
anybody. Then the files are rewritten one by one. If that is interrupted, what remains is known and
done later; and when such a session turns up again, from a copy or from a round that was still being
held, the pupil does not come back with it (see ``store_file``).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from oralquiz.errors import BadInput, OralquizError
from oralquiz.records.cards import remove_cards
from oralquiz.records.database import changing
from oralquiz.records.erased_names import note_erased_name
from oralquiz.records.given_homework import remove_homework
from oralquiz.records.lent_recordings import remove_lent
from oralquiz.records.older_rounds import look_into_older
from oralquiz.records.pupil_list import Pupil, find_pupil
from oralquiz.records.session_rows import PARTS_OF_A_SUM, mark_erased, turns_erased
from oralquiz.records.unrecorded import unrecorded
from oralquiz.session import (
    BeingHeld,
    Session,
    erase_from_session,
    erase_turns,
    is_held,
    is_in,
    leftovers,
    only_writer,
    open_session,
    remove_leftover,
    session_folders,
)

CHECKPOINT_S = 5.0
"""Seconds that erasing waits for readers before it empties the log of the database."""


@dataclass(frozen=True)
class Erased:
    """The session files an erased pupil was in: those rewritten or removed, those that are no
    longer where they were, and those that could not be read (with the reason)."""

    changed: tuple[Path, ...]
    missing: tuple[Path, ...]
    unreadable: tuple[str, ...]


def erase_pupil(
    db: Database,
    name: str,
    folder: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Erased:
    """Remove a pupil for good: the rows, the card, what was lent, and the name and the voice in
    every session.

    These are the sessions that the records know and every other one in ``folder``, including rounds
    that were cut short before they reached the records. Copies and pages elsewhere are not found.
    What crashes left in ``folder`` goes too. ``progress`` is called with how many files are done,
    and of how many. Raises BadInput for an unknown name, and BeingHeld, with nothing erased, while
    a round of the pupil is being held.
    """
    pupil = find_pupil(db, name)
    if folder is not None:
        _not_held(pupil, folder)
    look_into_older(db)
    remove_lent(pupil.name)
    strangers, unreadable = _unrecorded_sessions(db, folder, pupil.name)
    known = _erase_rows(db, pupil, strangers)
    changed, missing, failed = _rewrite(db, known, pupil.name, progress)
    later, _ = _unrecorded_sessions(db, folder, pupil.name)  # a round that was begun meanwhile
    for file, session in later.items():
        _note(db, file, session, pupil.name)
    more, _, failed_later = _rewrite(db, _by_round(later), pupil.name, None)
    if folder is not None:
        unreadable += [trouble for path in leftovers(folder) if (trouble := _removed(path))]
    finish_erasing(db)
    _empty_log(db)
    return Erased(
        tuple(sorted({*changed, *more})),
        tuple(sorted(missing)),
        tuple(sorted({*unreadable, *failed, *failed_later})),
    )


def _not_held(pupil: Pupil, folder: Path) -> None:
    """Raise BeingHeld if a round of ``pupil`` is being held, here or in another program."""
    for path in session_folders(folder):
        try:
            if is_held(path) and is_in(open_session(path), pupil.name):
                raise BeingHeld(
                    f"{pupil.name} is in a round that is being held now ({path}): end it first; "
                    "nothing has been erased"
                )
        except (BadInput, OSError):
            continue  # it has become a file, or cannot be read: erasing comes to it again


def _unrecorded_sessions(
    db: Database, folder: Path | None, name: str
) -> tuple[dict[Path, Session], list[str]]:
    """The sessions in ``folder`` that name the pupil and that the records do not know, and why
    others cannot be read."""
    found: dict[Path, Session] = {}
    unreadable: list[str] = []
    left = set(leftovers(folder)) if folder is not None else set()
    for path in unrecorded(db, folder) if folder is not None else ():
        try:
            if path not in left and is_in(session := open_session(path), name):
                found[path] = session
        except (OralquizError, OSError) as error:
            unreadable.append(str(error))
    return found, unreadable


def _by_round(sessions: dict[Path, Session]) -> list[tuple[str, Path]]:
    return [(session.header["id"], path) for path, session in sessions.items()]


def _erase_rows(
    db: Database, pupil: Pupil, strangers: dict[Path, Session]
) -> list[tuple[str, Path]]:
    """Remove every row of the pupil; returns the id and the file of each session to rewrite."""
    them = {"id": pupil.id, "name": pupil.name}
    theirs = """
        (select round_id, turn from named where name = :name
         union select round_id, turn from sums where pupil_id = :id)
    """
    with changing(db):
        rows = db.query(
            f"select distinct id, file from rounds join {theirs} on round_id = id order by file",
            them,
        )
        known = [(row["id"], Path(row["file"])) for row in rows]
        db.execute(
            f"""
            insert or ignore into erased_turns (round_id, turn, file, done)
            select round_id, turn, file, 0 from rounds join {theirs} on round_id = rounds.id
            """,
            them,
        )
        for path, session in strangers.items():
            _note(db, path, session, pupil.name)
        for table in PARTS_OF_A_SUM:
            db.execute(
                f"delete from {table} where sum_id in (select id from sums where pupil_id = :id)",
                them,
            )
        db.execute("delete from sums where pupil_id = :id", them)
        db.execute("delete from named where name = :name", them)
        for round_id, _ in known:
            db.execute(
                """
                delete from rounds where id = :id
                and id not in (select round_id from sums where round_id = :id)
                and id not in (select round_id from named where round_id = :id)
                """,
                {"id": round_id},
            )
        for table in ("learners", "rule_states"):
            db.execute(f"delete from {table} where pupil_id = :id", them)
        remove_cards(db, pupil.id)
        remove_homework(db, pupil.id)
        note_erased_name(db, pupil.name)
        db.execute("delete from pupils where id = :id", them)
    return [*known, *_by_round(strangers)]


def _note(db: Database, path: Path, session: Session, name: str) -> None:
    """Note that the turns of ``name`` in ``session`` no longer belong to anybody."""
    db.table("erased_turns").insert_all(
        (
            {"round_id": session.header["id"], "turn": index, "file": str(path), "done": 0}
            for index, turn in enumerate(session.round.turns)
            if turn.pupil == name
        ),
        ignore=True,
    )


def _rewrite(
    db: Database,
    sessions: Iterable[tuple[str, Path]],
    name: str,
    progress: Callable[[int, int], None] | None,
) -> tuple[list[Path], list[Path], list[str]]:
    """Take ``name`` out of the files: those changed, those missing, why others failed."""
    changed: list[Path] = []
    missing: list[Path] = []
    failed: list[str] = []
    wanted = list(sessions)
    for number, (round_id, path) in enumerate(wanted, start=1):
        try:
            if not path.exists():
                missing.append(path)
            else:
                if erase_from_session(path, name):
                    changed.append(path)
                mark_erased(db, round_id)
        except (OralquizError, OSError) as error:
            failed.append(str(error))
        if progress is not None:
            progress(number, len(wanted))
    return changed, missing, failed


def unfinished(db: Database) -> list[tuple[str, Path]]:
    """The id and the file of each session that an erasure still has to rewrite."""
    rows = db.query("select distinct round_id, file from erased_turns where not done order by file")
    found = [(row["round_id"], Path(row["file"])) for row in rows]
    return [(round_id, path) for round_id, path in found if path.exists()]


def finish_erasing(db: Database) -> list[str]:
    """Rewrite the files that an interrupted erasure left; returns why any of them still fail."""
    failed: list[str] = []
    for round_id, path in unfinished(db):
        try:
            with only_writer(path):
                session = open_session(path)
                if session.header["id"] == round_id:  # else another file is in its place
                    erase_turns(path, session, turns_erased(db, round_id))
            mark_erased(db, round_id)
        except (OralquizError, OSError) as error:
            failed.append(str(error))
    return failed


def _removed(path: Path) -> str:
    """Remove what a crash left at ``path``; returns the reason if that fails."""
    try:
        remove_leftover(path)
    except (OralquizError, OSError) as error:
        return str(error)
    return ""


def _empty_log(db: Database) -> None:
    """Empty the database's log, as soon as nobody reads it, so that no erased row stays there."""
    until = time.monotonic() + CHECKPOINT_S
    while db.execute("pragma wal_checkpoint(truncate)").fetchone()[0]:
        if time.monotonic() > until:
            return
        time.sleep(0.05)
