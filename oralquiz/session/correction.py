"""The teacher's corrections: each is one more event at the end, never an overwrite."""

from __future__ import annotations

from pathlib import Path

from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.rounds import Corrected, Entry
from oralquiz.session.file import CUT_SHORT, Session, open_session
from oralquiz.session.folder_lock import is_held, only_writer, rewriting
from oralquiz.session.recorder import pack, write_parts


def correct(
    path: Path, turn: int, verdict: Verdict, *, by: str, when: str, value: int | None = None
) -> Session:
    """Add to the finished session at ``path`` that ``by`` judged ``turn`` (from 0) as ``verdict``.

    ``value`` is the number the teacher heard, ``when`` an ISO 8601 time. Returns the session as
    it now reads. Raises BadInput for a turn that was not held, a verdict that its number
    contradicts, a session that is damaged, is still running, or was cut short and is not a file
    yet.
    """
    if not by.isprintable():
        raise BadInput(
            f"the corrector's name holds a character that cannot be printed: {by[:60]!r}"
        )
    be_finished(path)
    with only_writer(path):
        session = open_session(path)
        _check(path, session, turn, verdict, value)
        corrected = Corrected(turn, verdict, value, by, when)
        entry = Entry(len(session.events), session.events[-1].at, corrected)
        with rewriting(path) as new:
            write_parts(new, session.header, [*session.events, entry], session.audio)
            pack(new, path)
        return open_session(path)


def be_finished(path: Path) -> None:
    """Raise BadInput if ``path`` is the folder of a round that is still running or was cut
    short."""
    if not path.is_dir():
        return
    if is_held(path):
        raise BadInput(f"{path}: this round is being held now; correct it when it is over")
    raise BadInput(
        f"{path}: this round was cut short; "
        f'`oralquiz enter "{path}"` makes a session file of it, which can be corrected'
    )


def _check(path: Path, session: Session, turn: int, verdict: Verdict, value: int | None) -> None:
    """Raise BadInput if ``session`` cannot be corrected that way."""
    if session.damage not in ("", CUT_SHORT):
        raise BadInput(f"{path}: correcting would lose what cannot be read ({session.damage})")
    answered = next((answered for answered in session.turns if answered.index == turn), None)
    if answered is None:
        raise BadInput(f"{path}: there is no sum {turn + 1} in this session")
    _agree(answered.sum.answer, verdict, value)


def _agree(answer: int, verdict: Verdict, value: int | None) -> None:
    """Raise BadInput if the number heard cannot go with the verdict."""
    if value is None:
        return
    if verdict is Verdict.SILENT:
        raise BadInput("an answer that was silent has no number")
    if (verdict is Verdict.RIGHT) != (value == answer) and verdict is not Verdict.UNCLEAR:
        raise BadInput(f"{value} cannot be {verdict.value}: the sum makes {answer}")
    if abs(value) > 10**9:
        raise BadInput(f"{value} is not a number that a frame can show")
