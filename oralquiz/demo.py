"""The demonstration: a class that does not exist, heard by the real recogniser.

Everything between the composer and the records is the real thing; only the pupils and the room
are virtual. The pupils know what they said; the rest of the program finds out by listening.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from oralquiz.audio import Habits, VirtualPupils, VirtualRoom
from oralquiz.compose import load_syllabus
from oralquiz.judge import Verdict
from oralquiz.listen import Recognizer
from oralquiz.records import Score, add_pupil, open_records, scores, store_file
from oralquiz.rounds import Event, Round, RoundPlan, VoiceReader, Watch, Way, plan_rounds
from oralquiz.session import Devices, Session, open_round
from oralquiz.sound import Samples, at_session_rate
from oralquiz.speak import Voice, number_words, open_voice, pupil_voices

CLASS = "Thursday beads"
PUPILS = ("Ilka", "Tomaz", "Wanja", "Noor")
"""Invented names."""

SESSION = "round"
"""The name of the session among what a demonstration keeps."""

STEP = "ten:+8"
SUMS_EACH = 3
TERMS = 4
PACE_S = 2.2


@dataclass(frozen=True)
class Demonstration:
    """What came of it.

    ``misheard`` counts the answers that were settled, as right or wrong, by another number than
    the pupil said.
    """

    session_file: Path
    session: Session
    database: Path
    scores: tuple[Score, ...]
    misheard: int

    def count(self, verdict: Verdict) -> int:
        return sum(turn.verdict == verdict for turn in self.session.turns)


PLAN = RoundPlan(STEP, Way.FRONT, SUMS_EACH, TERMS, PACE_S)


@dataclass(frozen=True)
class InventedPupil:
    """Somebody who takes part and does not exist."""

    name: str
    consent: bool = True


def prepare(seed: int) -> Round:
    """A round of the lesson's step: the pupils take turns."""
    title = f"{CLASS}: {load_syllabus().step(STEP).title}"
    (round_,) = plan_rounds(PLAN, [InventedPupil(name) for name in PUPILS], seed, name=title)
    return round_


def demonstrate(
    folder: Path,
    recognizer: Recognizer,
    round_: Round,
    *,
    seed: int,
    pace_s: float = PACE_S,
    real_time: bool = False,
    watch: Watch | None = None,
) -> Demonstration:
    """Hold ``round_`` with virtual pupils; keep the session and the records under ``folder``.

    ``real_time`` makes a second of the round last a second; otherwise it is rendered as fast as
    possible. ``watch`` gets every event.
    """
    for_room, for_pupils = np.random.default_rng(seed).spawn(2)
    room = VirtualRoom(for_room, real_time=real_time)
    voices = pupil_voices()
    habits = {name: Habits(name, voices[index % len(voices)]) for index, name in enumerate(PUPILS)}
    pupils = VirtualPupils(room, habits, _answer, for_pupils, round_.columns)

    def both(at: int, event: Event) -> None:
        pupils.watch(at, event)
        if watch is not None:
            watch(at, event)

    reader = VoiceReader(open_voice(pace=pace_s), pace_s)
    options = replace(PLAN, pace_s=pace_s).options()
    devices = Devices(reader, room, recognizer)
    with open_round(round_, options, devices, folder / SESSION, watch=both) as live:
        live.run(room)
    path = live.finish()
    database = folder / "records.db"
    db = open_records(database)
    for name in PUPILS:
        add_pupil(db, name, created=round_.created, class_name=CLASS, consent=True)
    session = store_file(db, path)
    result = tuple(scores(db))
    db.close()

    meant = {said.turn: said.value for said in pupils.said}
    misheard = sum(
        turn.verdict in (Verdict.RIGHT, Verdict.WRONG) and turn.value != meant[turn.index]
        for turn in session.turns
    )
    return Demonstration(path, session, database, result, misheard)


def _answer(voice: Voice, value: int) -> Samples:
    """``value`` in a pupil's voice."""
    return at_session_rate(voice.say(number_words(value))).samples
