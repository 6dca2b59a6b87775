"""Taking one pupil, or every voice, out of a session file for good."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from oralquiz.session.events import Event
from oralquiz.session.file import Pcm, Session, open_session
from oralquiz.session.recorder import pack, write_parts

ERASED = "(erased)"


def erase_from_session(path: Path, pupil: str) -> bool:
    """Remove ``pupil``'s name, voice and words from the session at ``path``.

    A session of nobody else is removed as a whole. In one of several pupils the sums, numbers and
    verdicts stay, of nobody any more. Returns whether anything was changed.
    """
    session = open_session(path)
    names = [turn.pupil for turn in session.round.turns]
    if pupil not in names:
        return False
    if set(names) == {pupil}:
        _remove(path)
        return True
    theirs = {i for i, name in enumerate(names) if name == pupil}
    audio = session.audio.copy()
    begins = [turn.start for turn in session.turns] + [len(audio)]
    for turn, until in zip(session.turns, begins[1:], strict=True):
        if turn.index in theirs:
            audio[turn.start : until, 1] = 0
    head = json.loads(json.dumps(dict(session.header)))
    for index in theirs:
        head["round"]["turns"][index].update(pupil=ERASED, consent=False)

    def without(event: Event) -> dict[str, Any]:
        data = dict(event.data)
        if data.get("turn") in theirs:
            if "pupil" in data:
                data["pupil"] = ERASED
            if "words" in data:
                data["words"] = ""
            if "guesses" in data:
                data["guesses"] = [{**guess, "words": ""} for guess in data["guesses"]]
        return data

    _rewrite(path, session, head, without, audio)
    return True


def erase_voices(path: Path) -> bool:
    """Remove every recorded answer's sound from the session; what was said by whom stays.

    Returns whether there was any.
    """
    session = open_session(path)
    if not session.audio[:, 1].any():
        return False
    audio = session.audio.copy()
    audio[:, 1] = 0
    _rewrite(path, session, dict(session.header), lambda event: dict(event.data), audio)
    return True


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()


def _rewrite(
    path: Path,
    session: Session,
    head: dict[str, Any],
    change: Callable[[Event], dict[str, Any]],
    audio: Pcm,
) -> None:
    """Write the session anew in place of the old one; whole or not at all."""
    events = [Event(e.seq, e.at, e.type, change(e)) for e in session.events]
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        new = Path(folder)
        write_parts(new, head, events, audio)
        if path.is_dir():
            for part in new.iterdir():
                part.replace(path / part.name)
        else:
            pack(new, path)
