"""Erasing a pupil for good, out of everything that this program keeps."""

from __future__ import annotations

from pathlib import Path

from sqlite_utils import Database

from oralquiz.records import Erased, find_pupil
from oralquiz.records import pupil_list as pupils
from oralquiz.web.credentials import Codes


def erase_pupil(db: Database, name: str, sessions: Path, codes: Codes) -> Erased:
    """Remove a pupil's rows, name and voice in every session, and the card for practice at home.

    Raises BadInput for a name that is not known, and BeingHeld, with nothing erased, while a round
    of the pupil is being held, by this program or another.
    """
    pupil = find_pupil(db, name)
    erased = pupils.erase_pupil(db, name, sessions)
    codes.forget_pupil(pupil)
    return erased
