"""Homework that was given, and whether a session that comes back was held on such a page.

Whoever has a pupil's page can change it, and what it saves. So nothing that such a file says is
believed where these records know better: who the pupil is, whether the voice may be kept, which
sums were given, by which rules they are judged. And its events must come out again by these rules.
What was heard is the page's word; it cannot be checked without the sound.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from oralquiz.errors import BadInput, OralquizError
from oralquiz.records.pupil_list import Pupil, pupils
from oralquiz.session import Session, erase_voices, rerun

LEFT_OPEN = ("id", "created")
"""What a page writes into its session's head itself."""


class AlteredSession(OralquizError):
    """A session file that cannot have come from the page that it names."""


def note_homework(db: Database, pupil: Pupil, head: Mapping[str, Any]) -> None:
    """Note that ``pupil`` is given now the homework whose sessions begin with ``head``
    (session.json without LEFT_OPEN)."""
    given = datetime.now(UTC).isoformat(timespec="seconds")
    db.table("homework").insert(
        {"id": head["homework"], "pupil_id": pupil.id, "given": given, "head": _text(head)}
    )


def check_homework(db: Database, path: Path, session: Session) -> None:
    """Raise BadInput where ``session``, at ``path``, names homework that was not given here, and
    AlteredSession where it is not what can have come of it. Other sessions pass."""
    named = session.header.get("homework")
    if named is None:
        return
    row = next(db.query("select head from homework where id = ?", [str(named)]), None)
    if row is None:
        raise BadInput(f"{path}: homework that was not given here, or whose pupil was erased")
    head = {key: value for key, value in session.header.items() if key not in LEFT_OPEN}
    if _text(head) != row["head"]:
        raise AlteredSession(f"{path}: not what was given: its sums, pupil or rules were changed")
    if session.damage:
        raise AlteredSession(f"{path}: not whole ({session.damage})")
    if difference := rerun(session).difference:
        raise AlteredSession(f"{path}: does not come out again ({difference})")


def drop_voice(db: Database, path: Path, session: Session) -> bool:
    """Take the voice out of ``session``, kept at ``path``, if it was held at home and its pupil's
    consent has been withdrawn since; whether there was one."""
    if session.header.get("homework") is None:
        return False
    allowed = {pupil.name for pupil in pupils(db) if pupil.consent}
    return not {turn.pupil for turn in session.round.turns} <= allowed and erase_voices(path)


def remove_homework(db: Database, pupil: int) -> None:
    """Forget what was given to ``pupil``, within a change: no session of it is taken any more."""
    db.execute("delete from homework where pupil_id = ?", [pupil])


def _text(head: Mapping[str, Any]) -> str:
    """``head`` in one writing, whoever wrote it: a browser writes 8.0 as 8."""
    return json.dumps(_plain(head), ensure_ascii=False, sort_keys=True)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    whole = isinstance(value, float) and value.is_integer()
    return int(value) if whole else value
