"""An answer in parts: what comes after a pause may go on with a number, or be all of it.

"Forty ... two" is 42, and a cough, "um" or "not" before "two" leaves 2. Read in one piece, a cough
easily becomes the tens of a number. So the last part is also read alone, and the part before it:
the less that one is a number, the more the last part counts alone.
"""

from __future__ import annotations

from collections.abc import Sequence

from oralquiz.listen.hearing import Candidate
from oralquiz.listen.spoken import GLUE, tokens
from oralquiz.listen.voice_detector import Segment

Candidates = tuple[Candidate, ...]

MOST_ALONE = 0.9
"""However little the part before sounds like a number, it may have been one said weakly."""
LEAST = 0.1
"""A number that only the last part has is reported from this probability on."""


def parted(stretches: Sequence[Segment], apart: int) -> list[tuple[Segment, ...]]:
    """``stretches`` in groups with at least ``apart`` samples of quiet between them.

    Shorter pauses are those within words: the closure of "six", say.
    """
    parts: list[tuple[Segment, ...]] = []
    for stretch in stretches:
        before = parts[-1][-1].offset if parts else None
        if before is not None and stretch.onset - before < apart:
            parts[-1] = (*parts[-1], stretch)
        else:
            parts.append((stretch,))
    return parts


def ends_open(words: str) -> bool:
    """Whether ``words`` end in one that calls for a number: "a hundred ... and ... five"."""
    *_, last = ("", *tokens(words))
    return last in GLUE


def weighed(whole: Candidates, last: Candidates, going_on: float) -> Candidates:
    """The candidates of the ``whole`` and of its ``last`` part, each with its share, best first.

    ``going_on`` is the probability that the part before the last is of a number too.
    """
    alone = min(MOST_ALONE, 1 - going_on) * sum(candidate.confidence for candidate in last)
    confidence: dict[int, float] = {}
    words: dict[int, str] = {}
    for candidates, share in ((whole, 1 - alone), (last, alone)):
        for candidate in candidates:
            confidence[candidate.value] = (
                confidence.get(candidate.value, 0.0) + share * candidate.confidence
            )
            words.setdefault(candidate.value, candidate.words)
    if not whole and max(confidence.values(), default=0.0) < LEAST:
        return ()
    ranked = sorted(words, key=lambda value: (-confidence[value], value))
    return tuple(Candidate(value, words[value], confidence[value]) for value in ranked)
