"""Being asked again must not tell a pupil that the answer was wrong.

A clear number is asked about once more where it may be a part of the right one ("three" for 53),
which only happens to wrong answers. So right answers are asked about as often, at random: as if a
number that a slip would have led to were the right one (`verdict.decide`).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from itertools import accumulate

from oralquiz.beads import Sum
from oralquiz.judge.diagnosis import Diagnoser
from oralquiz.listen import Hearing
from oralquiz.sound import SESSION_RATE


@lru_cache(maxsize=4096)
def wrong_answers(terms: Sum, columns: int) -> Mapping[int, float]:
    """The numbers that pupils who slip once say to ``terms``, and the share of each (sum 1)."""
    return _diagnoser(columns).wrong_answers(terms)


def one_of(shares: Mapping[int, float], at: float) -> int | None:
    """The number at ``at`` (0 to 1) when ``shares`` are laid side by side; None past their end."""
    ends = zip(shares, accumulate(shares.values()), strict=True)
    return next((number for number, end in ends if at < end), None)


def drawn(hearing: Hearing) -> float:
    """A number from 0 to 1 (not included) that depends on every detail of ``hearing``: no pupil
    foresees it, and the recording gives it again."""
    guesses = [(guess.value, round(1e6 * guess.confidence)) for guess in hearing.candidates]
    times = (hearing.onset_s, hearing.offset_s)
    places = [None if time is None else round(SESSION_RATE * time) for time in times]
    told = repr((guesses, hearing.words, places)).encode()
    return int.from_bytes(sha256(told).digest()[:6], "big") / 2**48


@lru_cache(maxsize=8)
def _diagnoser(columns: int) -> Diagnoser:
    return Diagnoser(columns)
