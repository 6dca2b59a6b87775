"""What a recogniser returns, and the protocol that every recogniser implements."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Protocol

from oralquiz.sound import Samples


@dataclass(frozen=True)
class Candidate:
    """One possibility of what was said: the number, its words, and its probability."""

    value: int
    words: str
    confidence: float


@dataclass(frozen=True)
class Hearing:
    """What the recogniser made of one stretch of sound.

    ``candidates`` are best first and hold distinct values; their confidences are calibrated
    probabilities that add up to at most 1 (the rest: something that is not a number in the range).
    Empty when no number was heard. ``words`` is the best transcript, numbers or not.
    ``onset_s`` and ``offset_s`` bound the voice, in seconds from the start of the stream;
    None when there was no voice at all.
    """

    candidates: tuple[Candidate, ...]
    words: str
    onset_s: float | None
    offset_s: float | None

    @property
    def value(self) -> int | None:
        return self.candidates[0].value if self.candidates else None

    @property
    def confidence(self) -> float:
        return self.candidates[0].confidence if self.candidates else 0.0

    @property
    def voiced(self) -> bool:
        """Whether any voice was heard."""
        return self.onset_s is not None

    def probability(self, value: int) -> float:
        """The calibrated probability that ``value`` was said."""
        return sum(
            candidate.confidence for candidate in self.candidates if candidate.value == value
        )


_OTHER = re.compile(r"(?:[\[<]\w+[\]>]\s*)+")


def readable(words: str) -> str:
    """``words`` for people: "[unk] forty two" is "… forty two"."""
    return _OTHER.sub("… ", words).strip()


class Listener(Protocol):
    """One stream being heard. A listener hears one answer only."""

    @property
    def speaking(self) -> bool:
        """Whether a voice has begun and not yet ended: whoever waits should go on waiting."""
        ...

    @property
    def at_once(self) -> int:
        """How many of the next samples may be fed in one go: no answer can be complete before the
        last of them. 0 when that is not known."""
        ...

    def feed(self, samples: Samples) -> Hearing | None:
        """Take the next samples (n,) at the recogniser's rate, in order, without gaps.

        Returns the final hearing as soon as an answer is complete (a number that can grow no
        further, or voice followed by enough quiet), else None. More samples may follow: it then
        returns None or the same hearing again while no more voice comes, and a hearing of
        everything once more voice has come.
        """
        ...

    def finish(self) -> Hearing:
        """The stream is over: what was heard so far (possibly nothing)."""
        ...


class Recognizer(Protocol):
    """Turns streams of sound into hearings."""

    @property
    def name(self) -> str: ...

    @property
    def sample_rate(self) -> int: ...

    def listen(self, lowest: int, highest: int) -> Listener:
        """Listen for one answer, which can only lie in ``lowest`` .. ``highest``."""
        ...
