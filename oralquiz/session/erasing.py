"""Taking one pupil, or every voice, out of a session file for good."""

from __future__ import annotations

import json
from collections.abc import Callable, Set
from dataclasses import replace
from pathlib import Path
from typing import Any

from oralquiz.rounds import Entry, Event, Guess, Heard, OfTurn, SumBegun
from oralquiz.session.file import Session, open_session
from oralquiz.session.folder_lock import discard, only_writer, remove_unfinished, rewriting
from oralquiz.session.recorder import NAMES, pack, write_parts
from oralquiz.sound import Pcm

ERASED = "(erased)"


def erase_from_session(path: Path, pupil: str) -> bool:
    """Remove ``pupil``'s name, voice and words from the session at ``path``.

    A session with nobody else in it is removed as a whole. In one with several pupils the sums,
    numbers and verdicts stay, without saying whose they are. Returns whether anything was changed.
    Raises BeingHeld, with nothing changed, for a round of ``pupil`` that is being held.
    """
    if path.is_dir() and not is_in(open_session(path), pupil):  # whether it is held or not
        return False
    with only_writer(path):
        session = open_session(path)
        return erase_turns(path, session, turns_of(session, pupil))


def turns_of(session: Session, pupil: str) -> frozenset[int]:
    """The turns in which ``pupil`` was asked something in ``session``, or was to be."""
    return frozenset(i for i, turn in enumerate(session.round.turns) if turn.pupil == pupil)


def is_in(session: Session, pupil: str) -> bool:
    """Whether ``pupil`` was asked anything in ``session``, or was to be."""
    return bool(turns_of(session, pupil))


def erase_turns(path: Path, session: Session, turns: Set[int]) -> bool:
    """Make ``turns`` of the session at ``path``, just read, nobody's; to be called within its
    ``only_writer``. Returns whether anything was changed. When nobody is left it is removed."""
    names = {i: turn.pupil for i, turn in enumerate(session.round.turns) if turn.pupil != ERASED}
    theirs = turns & names.keys()
    if not theirs:
        return False
    if theirs == names.keys():
        _remove(path)
    else:
        _take_out(path, session, theirs)
    return True


def _take_out(path: Path, session: Session, theirs: Set[int]) -> None:
    audio = session.audio.copy()
    begins = [turn.start for turn in session.turns] + [len(audio)]
    for turn, until in zip(session.turns, begins[1:], strict=True):
        if turn.index in theirs:
            audio[turn.start : until, 1] = 0
    head = json.loads(json.dumps(dict(session.header)))
    for index in theirs:
        turn = head["round"]["turns"][index]
        turn.update(pupil=ERASED, consent=False)
        turn.pop("reason", None)  # what it says of the pupil's skill

    def without(event: Event) -> Event:
        turn = event.turn if isinstance(event, OfTurn) else event.more.get("turn")
        return _nobodys(event) if turn in theirs else event

    _rewrite(path, session, head, without, audio)


def _nobodys(event: Event) -> Event:
    """``event`` without the name and the words of its pupil, and without what a newer program
    wrote beside them: nobody here knows what that says."""
    if isinstance(event, SumBegun):
        event = replace(event, pupil=ERASED)
    elif isinstance(event, Heard):
        guesses = tuple(Guess(g.value, "", g.confidence) for g in event.guesses)
        event = replace(event, words="", guesses=guesses)
    known = {"turn": event.more["turn"]} if "turn" in event.more else {}
    return replace(event, more=known)


def erase_voices(path: Path) -> bool:
    """Remove every recorded answer's sound from the session; what was said by whom stays.

    Returns whether there was any. Raises BeingHeld for a round that is being held.
    """
    with only_writer(path):
        session = open_session(path)
        if not session.audio[:, 1].any():
            return False
        audio = session.audio.copy()
        audio[:, 1] = 0
        _rewrite(path, session, dict(session.header), lambda event: event, audio)
    return True


def _remove(path: Path) -> None:
    if path.is_dir():
        discard(path)
    else:
        path.unlink()


def _rewrite(
    path: Path,
    session: Session,
    head: dict[str, Any],
    change: Callable[[Event], Event],
    audio: Pcm,
) -> None:
    """Write the session anew in place of the old one; whole or not at all."""
    events = [Entry(e.seq, e.at, change(e.event)) for e in session.events]
    if path.is_dir():
        remove_unfinished(path)
    with rewriting(path) as new:
        write_parts(new, head, events, audio)
        if path.is_dir():
            for name in reversed(NAMES):  # the names last: a crash before that can be made good
                (new / name).replace(path / name)
        else:
            pack(new, path)
