"""How many pupils this computer can hear at once, so that no verdict is late.

The worst moment of a class is when everybody answers within one second. What it takes is counted
in the time that this computer needs to decode one answer, which is measured; the rest was measured
beside it (`bench_web`) and grows with it. Rounds are heard on all cores; what comes from the pages
and goes to them is taken by one of them.
"""

from __future__ import annotations

from oralquiz.compose import counted

BURST_S = 1.0
"""Seconds within which all voices end."""
LATE_S = 0.4
"""Seconds by which the last verdict may come after its turn would have been."""
FOLLOWED = 0.65
"""What following one pupil's microphone for a second costs, in decodings of an answer."""
SERVED = 0.2
"""The part of it that one core has to do for everybody: the connections."""
BUSY = 0.7
"""The share of the cores that is ours to use: pages on the same computer, and whatever else runs
there, take theirs."""


def pupils_at_once(answer_s: float, cores: int) -> int:
    """How many pupils can answer within one second when decoding an answer takes ``answer_s``
    seconds of one of ``cores`` cores; at least 1."""
    span_s = BURST_S + LATE_S
    each_s = answer_s * (1 + FOLLOWED * span_s)
    by_cores = BUSY * cores * span_s / each_s
    by_connections = BUSY / (SERVED * answer_s)
    return max(1, int(min(by_cores, by_connections)))


def too_many(pupils: int, at_once: int) -> str:
    """Why a round of so many microphones cannot begin."""
    return (
        f"this computer can hear {counted(at_once, 'pupil')} at once, and {pupils} would speak: "
        "choose fewer, or let some of them type"
    )
