"""How many pupils this computer can hear at once, so that no verdict is late.

The worst moment of a class is when everybody answers within one second. The time that this
computer needs to decode one answer is measured; the rest was measured on two others (`bench_web`):
one with two cores, where it is 12 ms of a core a second and 0.7 of a decoding, and one with
16, where it is 8 ms and 0.24 of a decoding. Rounds are heard on all cores; what comes from the
pages and goes to them is taken by one of them.
"""

from __future__ import annotations

from oralquiz.compose import counted

BURST_S = 1.0
"""Seconds within which all voices end."""
LATE_S = 0.4
"""Seconds by which the last verdict may come after its turn would have been."""
FOLLOWED_S, FOLLOWED = 0.012, 0.24
"""The cost of listening to one pupil's microphone for a second: seconds of a core, or decodings of
an answer, whichever is more."""
SERVED = 0.2
"""The share of that cost, the connections, which falls on one core for everybody."""
BUSY = 0.75
"""The share of the cores that is ours to use: pages on the same computer, and whatever else runs
there, take theirs."""


def pupils_at_once(answer_s: float, cores: int) -> int:
    """How many pupils can answer within one second when decoding an answer takes ``answer_s``
    seconds of one of ``cores`` cores; at least 1."""
    span_s = BURST_S + LATE_S
    followed_s = max(FOLLOWED_S, FOLLOWED * answer_s)
    by_cores = BUSY * cores * span_s / (answer_s + followed_s * span_s)
    by_connections = BUSY / (SERVED * followed_s)
    return max(1, int(min(by_cores, by_connections)))


def too_many(pupils: int, at_once: int) -> str:
    """Why a round of so many microphones cannot begin."""
    return (
        f"this computer can hear {counted(at_once, 'pupil')} at once, and {pupils} would speak: "
        "choose fewer, or let some of them type"
    )
