"""The sums of a round as they are read aloud, given one after the other by whoever renders them."""

from __future__ import annotations

from collections.abc import Mapping

from oralquiz.errors import AudioError
from oralquiz.rounds import Round, Turn
from oralquiz.sound import Clip
from oralquiz.speak import Dictation


class GivenSums:
    """Keeps the last two sums that were given. ``phrases`` are all that is said besides."""

    def __init__(self, round: Round, voice_name: str, phrases: Mapping[str, Clip]) -> None:
        self.voice_name = voice_name
        self._round = round
        self._phrases = phrases
        self._given: dict[int, Dictation | str] = {}

    def give(self, turn: int, dictation: Dictation | str) -> None:
        """The sum of ``turn``, or why it cannot be read."""
        self._given = dict([*self._given.items(), (turn, dictation)][-2:])

    def has(self, turn: int) -> bool:
        """Whether ``turn`` was given, or is not in the round."""
        return turn in self._given or turn >= len(self._round.turns)

    def forget(self) -> None:
        """Nothing will be read any more."""
        self._given = {}

    def dictation(self, turn: Turn) -> Dictation:
        """Raises AudioError for a sum that cannot be read."""
        for at, dictation in self._given.items():
            if self._round.turns[at] == turn:
                if isinstance(dictation, str):
                    raise AudioError(dictation)
                return dictation
        raise AudioError(f"{turn.sum} was not rendered")

    def phrase(self, text: str) -> Clip:
        return self._phrases[text]
