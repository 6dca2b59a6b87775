"""Reads a round aloud: sums and phrases as sound at the session's own rate."""

from __future__ import annotations

import soxr

from oralquiz.session.ports import SESSION_RATE
from oralquiz.session.round import Turn
from oralquiz.speak.clip import Clip, Voice
from oralquiz.speak.dictation import Dictation, dictate
from oralquiz.speak.reading import Reading


def at_session_rate(clip: Clip) -> Clip:
    """``clip`` resampled to SESSION_RATE."""
    if clip.sample_rate == SESSION_RATE:
        return clip
    return Clip(soxr.resample(clip.samples, clip.sample_rate, SESSION_RATE), SESSION_RATE)


class VoiceReader:
    """Dictates with ``voice`` at ``pace_s`` seconds from term to term.

    Raises BadInput, naming the shortest pace that works, for a term that takes longer.
    """

    def __init__(self, voice: Voice, pace_s: float, reading: Reading | None = None) -> None:
        self.voice = voice
        self._pace_s = pace_s
        self._reading = reading

    def dictation(self, turn: Turn) -> Dictation:
        return dictate(
            turn.sum,
            self.voice,
            pace=self._pace_s,
            sample_rate=SESSION_RATE,
            reading=self._reading,
        )

    def phrase(self, text: str) -> Clip:
        return at_session_rate(self.voice.say(text))
