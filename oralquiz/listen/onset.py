"""Where the number that counts begins, in a sound that may hold other speech before it."""

from __future__ import annotations

from collections.abc import Sequence, Set

from oralquiz.listen.hypothesis import Hypothesis
from oralquiz.listen.voice_detector import Segment

WORD_SLACK_S = 0.1
"""A segment of voice that ends this soon after the number's first word is not the number's."""
RUN_ON_S = 0.25
"""A voice that begins this long before the number's first word begins with other speech."""


def number_onset_s(
    hypothesis: Hypothesis,
    start_s: float,
    segments: Sequence[Segment],
    sample_rate: int,
    unknown: Set[str],
) -> float:
    """Where the last number of ``hypothesis`` begins, in seconds of the stream.

    That is the voice's own onset, unless other speech runs into the number without a pause: then
    it is the decoder's time of the number's first word, which is coarse. ``start_s``: where the
    sound that was decoded begins. ``unknown``: the words that stand for other speech.
    """
    first = _first_word(hypothesis, unknown)
    word_s = start_s + hypothesis.words[first].start_s
    ends = ((s, s.offset) for s in segments)
    late = [s for s, end in ends if end is None or end / sample_rate > word_s + WORD_SLACK_S]
    onset_s = (late or list(segments[-1:]))[0].onset / sample_rate
    run_on = first > 0 and word_s - onset_s > RUN_ON_S
    return word_s if run_on else onset_s


def _first_word(hypothesis: Hypothesis, unknown: Set[str]) -> int:
    """The place of the first word of the last number."""
    words = [word.text for word in hypothesis.words]
    place = len(words)
    while place > 0 and words[place - 1] in unknown:
        place -= 1
    while place > 0 and words[place - 1] not in unknown:
        place -= 1
    return place
