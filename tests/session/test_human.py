"""A round whose answers are human voices: recordings fed in as the microphone, our own
recogniser, the judge, the recorder and the records.

The clips are the Free Spoken Digit Dataset's (CC BY-SA 4.0, Zohar Jackson et al.); the handful
this test needs on any machine is in ``data/fsdd``, of two speakers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.beads import Sum
from oralquiz.judge.verdict import Verdict
from oralquiz.listen.recognizer import open_recognizer
from oralquiz.records.database import open_records
from oralquiz.records.scoring import scores
from oralquiz.records.session_rows import store
from oralquiz.rounds.events import Dictated, Event
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.rounds.round_reader import VoiceReader
from oralquiz.session.file import Session, open_session
from oralquiz.session.live_round import Devices, open_round
from oralquiz.session.reruns import rerun
from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.speak.voices import open_voice

pytestmark = pytest.mark.slow

CLIPS = Path(__file__).parent / "data" / "fsdd"
SPEAKERS = ("jackson", "lucas")
PACE_S = 1.5

# the digit that is said, to a sum with a one-digit answer; two are wrong answers
SUMS = [
    ("1 + 2", 3),
    ("4 + 3", 7),
    ("9 - 4", 5),
    ("3 + 5 - 8", 0),
    ("2 + 6", 8),
    ("8 - 2", 6),
    ("5 + 4", 4),  # said "four": the five forgotten
    ("7 - 6", 2),  # said "two": one finger too many
    ("6 + 3", 9),
    ("5 - 4", 1),
]


@dataclass
class Speaker:
    """Plays a speaker's clips as the answers, ``DELAY_S`` after the last term."""

    room: VirtualRoom
    name: str
    onsets: list[tuple[float, float]] = field(default_factory=list)

    DELAY_S = 0.8

    def watch(self, at: int, event: Event) -> None:
        if isinstance(event, Dictated):
            digit = SUMS[event.turn][1]
            samples, rate = soundfile.read(CLIPS / f"{digit}_{self.name}.wav", dtype="float32")
            onset = event.terms[-1].offset + round(self.DELAY_S * SESSION_RATE)
            self.room.speak(soxr.resample(samples, rate, SESSION_RATE).astype(np.float32), onset)
            level = np.sqrt(np.convolve(samples**2, np.ones(rate // 100) / (rate // 100), "same"))
            # a voice begins in its clip, and at the latest 10 dB under the clip's loudest moment
            begun = np.argmax(level > level.max() * 10 ** (-10 / 20)) / rate
            self.onsets.append((onset, onset + begun * SESSION_RATE))


def human_round(folder: Path, speaker: str) -> tuple[Path, Session, Speaker]:
    turns = tuple(Turn(speaker, Sum.parse(text), consent=True) for text, _ in SUMS)
    round_ = Round("digits", "2026-01-05T09:00:00+00:00", turns, step="direct", columns=1)
    room = VirtualRoom(np.random.default_rng(3))
    person = Speaker(room, speaker)
    options = Options(pace_s=PACE_S, answer_within_s=4.0)
    devices = Devices(VoiceReader(open_voice(), PACE_S), room, open_recognizer())
    with open_round(round_, options, devices, folder / speaker, watch=person.watch) as live:
        live.run(room)
    path = live.finish()
    return path, open_session(path), person


@pytest.mark.parametrize("speaker", SPEAKERS)
def test_a_round_answered_by_human_recordings(tmp_path: Path, speaker: str) -> None:
    path, session, person = human_round(tmp_path, speaker)
    right = [Sum.parse(text).answer == said for text, said in SUMS]
    verdicts = [turn.verdict for turn in session.turns]
    # nobody is wronged and nobody is flattered; an unclear answer is not a mistake of the judge
    for truth, verdict in zip(right, verdicts, strict=True):
        assert verdict in ((Verdict.RIGHT if truth else Verdict.WRONG), Verdict.UNCLEAR)
    settled = [turn for turn in session.turns if turn.verdict is not Verdict.UNCLEAR]
    assert len(settled) >= 8
    assert [t.value for t in settled] == [SUMS[t.index][1] for t in settled]
    for turn, (earliest, latest) in zip(session.turns, person.onsets, strict=True):
        (first, *_) = turn.attempts
        assert first.onset is not None
        slack = (
            0.03 * SESSION_RATE
        )  # the level is averaged over 10 ms, the detector's frames are as long
        assert earliest - slack <= first.onset <= latest + slack
        assert first.latency_s is not None
        assert round(first.latency_s * SESSION_RATE) == first.onset - turn.terms[-1].offset
    assert rerun(session).difference == ""

    db = open_records(tmp_path / "records.db")
    store(db, session, path)
    (score,) = scores(db)
    counts = [verdicts.count(v) for v in (Verdict.RIGHT, Verdict.WRONG, Verdict.UNCLEAR)]
    assert [score.total.right, score.total.wrong, score.total.unclear] == counts
    assert score.by_rule["direct"].count == 10
