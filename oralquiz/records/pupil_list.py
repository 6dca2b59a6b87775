"""Pupils and classes: listing, adding, consent."""

from __future__ import annotations

from dataclasses import dataclass

from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.records.database import changing
from oralquiz.records.lent_recordings import remove_lent
from oralquiz.records.names import clean_name, shortened, unusable


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


def class_names(db: Database) -> list[str]:
    """Every class, and "" when some pupils are in none."""
    names = [row["name"] for row in db.query("select name from classes order by name")]
    return names + [""] * any(not p.class_name for p in pupils(db))


def add_class(db: Database, name: str) -> None:
    """Add a class, unless it is there already. Raises BadInput for a name that cannot be one."""
    if wrong := unusable(name):
        raise BadInput(f"a class's name {wrong}")
    db.table("classes").insert({"name": name}, ignore=True)


def find_pupil(db: Database, name: str) -> Pupil:
    """The pupil called ``name``. Raises BadInput, naming those there are."""
    everyone = pupils(db)
    for pupil in everyone:
        if clean_name(pupil.name) == clean_name(name):
            return pupil
    known = ", ".join(shortened(p.name) for p in everyone[:12]) or "none yet"
    raise BadInput(f"there is no pupil '{shortened(name)}' (known: {known})")


def add_pupil(
    db: Database, name: str, *, created: str, class_name: str = "", consent: bool = False
) -> Pupil:
    """Add a pupil. ``created`` is an ISO 8601 time. Raises BadInput for a name that is taken, or
    that cannot be one."""
    name = clean_name(name)
    if not name:
        raise BadInput("a pupil needs a name")
    if wrong := unusable(name):
        raise BadInput(f"a pupil's name {wrong}")
    with changing(db):
        if any(clean_name(p.name) == name for p in pupils(db)):
            raise BadInput(f"there is a pupil '{name}' already")
        if class_name:
            add_class(db, class_name)
        return insert_pupil(db, name, created=created, class_name=class_name, consent=consent)


def insert_pupil(
    db: Database, name: str, *, created: str, class_name: str = "", consent: bool = False
) -> Pupil:
    """Insert a pupil's row as it is given; to be called inside ``changing``."""
    class_id = next(db.query("select id from classes where name = ?", [class_name]), {"id": None})
    row = {"name": name, "class_id": class_id["id"], "consent": int(consent), "created": created}
    number = db.table("pupils").insert(row).last_rowid
    assert number is not None
    return Pupil(number, name, class_name, consent)


def set_consent(db: Database, name: str, consent: bool) -> Pupil:
    """Note whether recording is allowed. What was recorded before stays (see ``forget_voices``),
    but what was lent to the training is removed."""
    pupil = find_pupil(db, name)
    if not consent:
        remove_lent(pupil.name)
    db.table("pupils").update(pupil.id, {"consent": int(consent)})
    return find_pupil(db, name)
