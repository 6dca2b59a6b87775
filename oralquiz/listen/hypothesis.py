"""What a decoder gives: word sequences with times and scores."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A recognised word, in seconds from the start of the sound that was decoded."""

    text: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Hypothesis:
    """What may have been said, with its log-likelihood up to a constant that all share."""

    words: tuple[Word, ...]
    score: float

    @property
    def text(self) -> str:
        return " ".join(word.text for word in self.words)

    def earlier(self, seconds: float) -> Hypothesis:
        """The same, timed without the first ``seconds``, which had been put before the sound."""
        words = (Word(w.text, w.start_s - seconds, w.end_s - seconds) for w in self.words)
        return Hypothesis(tuple(words), self.score)
