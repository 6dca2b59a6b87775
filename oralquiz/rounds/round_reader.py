"""Reads a round aloud: sums and phrases as sound at the session's own rate."""

from __future__ import annotations

from oralquiz.beads import Sum
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.sound import SESSION_RATE, Clip, at_session_rate
from oralquiz.speak import Dictation, Reading, Voice, dictate


class VoiceReader:
    """Dictates with ``voice`` at ``pace_s`` seconds from term to term.

    Raises BadInput, naming the shortest pace that works, for a term that takes longer. A sum is
    rendered once and kept (half a megabyte and more), unless ``keeps`` is False.
    """

    def __init__(
        self, voice: Voice, pace_s: float, reading: Reading | None = None, *, keeps: bool = True
    ) -> None:
        self.voice = voice
        self._keeps = keeps
        self._pace_s = pace_s
        self._reading = reading
        self._dictations: dict[Sum, Dictation] = {}

    @property
    def voice_name(self) -> str:
        """What the session file calls the voice."""
        return self.voice.name

    def prepare(self, round_: Round, options: Options) -> None:
        """Render everything the round will say, so that nothing can fail once it has begun."""
        for turn in round_.turns:
            self.dictation(turn)
        self.phrase(options.ask_again_text)

    def dictation(self, turn: Turn) -> Dictation:
        if turn.sum in self._dictations:
            return self._dictations[turn.sum]
        dictation = dictate(
            turn.sum,
            self.voice,
            pace=self._pace_s,
            sample_rate=SESSION_RATE,
            reading=self._reading,
        )
        if self._keeps:
            self._dictations[turn.sum] = dictation
        return dictation

    def phrase(self, text: str) -> Clip:
        return at_session_rate(self.voice.say(text))
