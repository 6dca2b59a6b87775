"""The captions of a session: what its captions.vtt says, cue by cue."""

from __future__ import annotations

import html
from dataclasses import dataclass

import webvtt
from webvtt.errors import MalformedFileError

from oralquiz.session import Session
from oralquiz.session import captions as written


@dataclass(frozen=True)
class Cue:
    """``who`` ("teacher" or "pupil") said ``text`` between two times in session seconds."""

    who: str
    text: str
    onset: float
    offset: float


def cues(session: Session) -> tuple[Cue, ...]:
    """The cues of the session's captions.vtt; where that was lost, of its events."""
    try:
        found = webvtt.from_string(session.captions)
    except MalformedFileError:
        found = webvtt.from_string(written(session.events, session.sample_rate))
    return tuple(
        Cue(
            cue.voice or "",
            html.unescape(cue.text),
            cue.start_time.in_milliseconds() / 1000,
            cue.end_time.in_milliseconds() / 1000,
        )
        for cue in found.captions
    )
