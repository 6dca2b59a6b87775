"""What a round on a device reports while it runs, from its own thread."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from oralquiz.rounds import Event
from oralquiz.web.device_messages import Hush, Play, SumTimes
from oralquiz.web.inbox import TeacherVerdict


@dataclass(frozen=True)
class Happened:
    """An event of the runner, known at sample ``at``."""

    at: int
    event: Event


@dataclass(frozen=True)
class Reached:
    """The round is at sample ``at``: a term begins to sound, or the last one has sounded."""

    at: int


@dataclass(frozen=True)
class VoiceKept:
    """The answer of ``turn`` as it was heard, 16-bit PCM at SESSION_RATE."""

    turn: int
    pcm: bytes


@dataclass(frozen=True)
class Finished:
    """The round is over; ``file`` is its session, None when nothing was said."""

    file: Path | None


@dataclass(frozen=True)
class Failed:
    """The round cannot go on."""

    why: str


@dataclass(frozen=True)
class VerdictTooLate:
    """The teacher's verdict came while the session file was being finished: it is not in it."""

    verdict: TeacherVerdict


Report = Happened | Reached | Finished | Failed | VerdictTooLate

Said = Report | VoiceKept | Play | SumTimes | Hush
"""All that comes from where a round is heard: reports, voices, and messages for its page."""

URGENT = Play | SumTimes | Hush
"""What does not say that anything happened: it need not wait for the disk."""

Hear = Callable[[Said], None]
