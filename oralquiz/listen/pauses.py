"""An answer with a pause: what comes after it may continue a number, or be all of it.

"Forty ... two" is 42, and a cough, "um" or "not" before "two" leaves 2. Decoded in one piece, a
cough easily becomes the tens of a number. So the last part is also decoded by itself, and the part
before it: the less that one is a number, the more the last part counts by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

from oralquiz.listen.hearing import Candidate
from oralquiz.listen.voice_detector import Segment

Candidates = tuple[Candidate, ...]

MOST_ALONE = 0.9
"""However little the part before sounds like a number, it may have been one said weakly."""
LEAST = 0.1
"""A number that only the last part has is reported from this probability on."""


def split_at_pauses(segments: Sequence[Segment], pause: int) -> list[tuple[Segment, ...]]:
    """``segments`` in groups with at least ``pause`` samples of quiet between them.

    Shorter pauses are those within words: the closure of "six", say.
    """
    parts: list[tuple[Segment, ...]] = []
    for segment in segments:
        before = parts[-1][-1].offset if parts else None
        if before is not None and segment.onset - before < pause:
            parts[-1] = (*parts[-1], segment)
        else:
            parts.append((segment,))
    return parts


def interpolated(whole: Candidates, last: Candidates, continues: float) -> Candidates:
    """The candidates of the ``whole`` and of its ``last`` part, each weighted, best first.

    ``continues`` is the probability that the part before the last is of a number too.
    """
    alone = min(MOST_ALONE, 1 - continues) * sum(candidate.confidence for candidate in last)
    confidence: dict[int, float] = {}
    words: dict[int, str] = {}
    for found, share in ((whole, 1 - alone), (last, alone)):
        for candidate in found:
            value = candidate.value
            confidence[value] = confidence.get(value, 0.0) + share * candidate.confidence
            words.setdefault(value, candidate.words)
    if not whole and max(confidence.values(), default=0.0) < LEAST:
        return ()
    ranked = sorted(words, key=lambda value: (-confidence[value], value))
    return tuple(Candidate(value, words[value], confidence[value]) for value in ranked)
