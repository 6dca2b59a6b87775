"""Pupils and classes: adding, consent, and erasing for good."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from pathlib import Path

from sqlite_utils import Database

from oralquiz.errors import BadInput, OralquizError
from oralquiz.session import (
    BeingHeld,
    erase_from_session,
    is_held,
    is_in,
    open_session,
    session_folders,
)


@dataclass(frozen=True)
class Pupil:
    """``consent``: a parent agreed that the voice is recorded."""

    id: int
    name: str
    class_name: str
    consent: bool


def pupils(db: Database, class_name: str | None = None) -> list[Pupil]:
    """All pupils, or those of one class, by name."""
    rows = db.query(
        """
        select pupils.id, pupils.name, coalesce(classes.name, '') as class_name, consent
        from pupils left join classes on classes.id = class_id order by pupils.name
        """
    )
    everyone = [Pupil(r["id"], r["name"], r["class_name"], bool(r["consent"])) for r in rows]
    return [p for p in everyone if class_name is None or p.class_name == class_name]


def clean_name(name: str) -> str:
    """A name as it is kept: without spaces around it, one space inside, each letter with its
    accent as one character (Unicode's form NFC)."""
    return unicodedata.normalize("NFC", " ".join(name.split()))


def find_pupil(db: Database, name: str) -> Pupil:
    """The pupil called ``name``. Raises BadInput, naming those there are."""
    everyone = pupils(db)
    for pupil in everyone:
        if clean_name(pupil.name) == clean_name(name):
            return pupil
    known = ", ".join(p.name for p in everyone[:12]) or "none yet"
    raise BadInput(f"there is no pupil '{name}' (known: {known})")


def add_pupil(
    db: Database, name: str, *, created: str, class_name: str = "", consent: bool = False
) -> Pupil:
    """Add a pupil. ``created`` is an ISO 8601 time. Raises BadInput for a name that is taken."""
    name = clean_name(name)
    if not name:
        raise BadInput("a pupil needs a name")
    if not name.isprintable():
        raise BadInput(f"a pupil's name holds a character that cannot be printed: {name!r}")
    if any(clean_name(p.name) == name for p in pupils(db)):
        raise BadInput(f"there is a pupil '{name}' already")
    class_id = None
    if class_name:
        db.table("classes").insert({"name": class_name}, ignore=True)
        class_id = next(db.query("select id from classes where name = ?", [class_name]))["id"]
    db.table("pupils").insert(
        {"name": name, "class_id": class_id, "consent": int(consent), "created": created}
    )
    return find_pupil(db, name)


def set_consent(db: Database, name: str, consent: bool) -> Pupil:
    """Note that recording is allowed, or no longer. What was recorded before stays: see erase."""
    pupil = find_pupil(db, name)
    db.table("pupils").update(pupil.id, {"consent": int(consent)})
    return find_pupil(db, name)


@dataclass(frozen=True)
class Erased:
    """The session files an erased pupil was in: those rewritten or removed, those that are not
    where they were, and those that could not be read (with the reason)."""

    changed: tuple[Path, ...]
    missing: tuple[Path, ...]
    unreadable: tuple[str, ...]


def erase_pupil(db: Database, name: str, folder: Path | None = None) -> Erased:
    """Remove a pupil for good: the rows, and the name and the voice in every session file.

    Those are the files the records know and every session in ``folder``, among them rounds that
    were cut short before they reached the records. A copy or a page elsewhere is not found.
    Raises BeingHeld, with nothing erased, while a round of the pupil is being held: it would bring
    the pupil back.
    """
    pupil = find_pupil(db, name)
    if folder is not None:
        _not_held(pupil, folder)
    known = {
        Path(row["file"])
        for row in db.query(
            "select distinct file from rounds join sums on round_id = rounds.id where pupil_id = ?",
            [pupil.id],
        )
    }
    kept = {p.resolve() for p in folder.iterdir()} if folder and folder.exists() else set()
    changed, missing, unreadable = [], [], []
    for file in sorted(known | kept):
        if not file.exists():
            missing.append(file)
            continue
        try:
            if erase_from_session(file, pupil.name):
                changed.append(file)
        except (OralquizError, OSError) as error:
            unreadable.append(str(error))
    theirs = "(select id from sums where pupil_id = :id)"
    with db.atomic():
        for table in ("answers", "corrections", "rule_uses"):
            db.execute(f"delete from {table} where sum_id in {theirs}", {"id": pupil.id})
        db.execute("delete from sums where pupil_id = :id", {"id": pupil.id})
        db.execute("delete from rounds where id not in (select round_id from sums)")
        db.execute("delete from pupils where id = :id", {"id": pupil.id})
    db.vacuum()
    db.execute("pragma wal_checkpoint(truncate)")  # no page of theirs stays in the log either
    return Erased(tuple(changed), tuple(missing), tuple(unreadable))


def _not_held(pupil: Pupil, folder: Path) -> None:
    """Raise BeingHeld if a round of ``pupil`` is being held, here or in another program."""
    for path in session_folders(folder):
        try:
            if is_held(path) and is_in(open_session(path), pupil.name):
                raise BeingHeld(
                    f"{pupil.name} is in a round that is being held now ({path}): end it first; "
                    "nothing is erased yet"
                )
        except (BadInput, OSError):
            continue  # it became a file meanwhile, or cannot be read: erasing meets it again
