"""What several attempts at one answer say together.

A pupil who is asked again mostly says the same number, so two weak hearings of it make a strong
one. The first attempt is the prior of the second: with the probability that it is repeated, each
number's odds carry over (Bayes' rule); otherwise the pupil says something else, and the second
attempt counts alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

from oralquiz.listen import Candidate, Hearing

REPEATED = 0.8
"""The probability that a pupil who is asked again says the same. No source: a careful guess; it
limits what the first attempt can add."""

WEIGHT = 0.8
"""The power to which the product of both likelihoods is raised. A voice misheard once is easily
misheard the same way again, so two hearings are not independent (that would be 1); at 0.5 a second
one like the first adds nothing. Fitted by `tests/benchmarks/bench_attempts.py` on one speaker
whom the model never heard."""

NO_NUMBER = 0.25
"""How often no number is said, in the clips that the calibration is fitted on
(`models/train/calibrate.py`)."""

UNLISTED = 0.1
"""What the candidates leave of the probability is mostly for no number at all; this share of it is
for numbers not among them. In the calibration clips it is 2 of 153; we take five times as much, so
that nobody is marked wrong because of one."""

LEAST_LEFT = 1e-6
"""No hearing is so certain that nothing is left over, whatever the rounding."""


@dataclass(frozen=True)
class _Shares:
    """The probability of each listed number, of each unlisted one, and of no number at all."""

    listed: dict[int, float]
    unlisted: float
    none: float

    @staticmethod
    def of(hearing: Hearing, numbers: int) -> _Shares:
        listed = {candidate.value: candidate.confidence for candidate in hearing.candidates}
        left = max(LEAST_LEFT, 1 - sum(listed.values()))
        others = max(1, numbers - len(listed))
        return _Shares(listed, left * UNLISTED / others, left * (1 - UNLISTED))

    def __getitem__(self, value: int) -> float:
        return self.listed.get(value, self.unlisted)


def combine_hearings(
    hearings: Sequence[Hearing], numbers: int = 100, weight: float = WEIGHT
) -> Hearing:
    """All attempts, in order, as one hearing, timed by the last in which a number was heard.

    Attempts without a number add nothing; if none has one, the last with a voice is returned, or
    else the last. ``numbers``: how many could have been said (100 on two hands). ``weight``: see
    WEIGHT. Raises ValueError without a hearing.
    """
    if not hearings:
        raise ValueError("nothing was heard, so there is nothing to combine")
    with_numbers = [hearing for hearing in hearings if hearing.candidates]
    if not with_numbers:
        return next((h for h in reversed(hearings) if h.voiced), hearings[-1])
    return reduce(lambda first, second: _both(first, second, numbers, weight), with_numbers)


def _both(first: Hearing, second: Hearing, numbers: int, weight: float) -> Hearing:
    one, two = _Shares.of(first, numbers), _Shares.of(second, numbers)
    listed = {**one.listed, **two.listed}
    others = max(0, numbers - len(listed))
    each = (1 - NO_NUMBER) / numbers

    def mass(first: float, second: float, before: float) -> float:
        repeated = before * math.pow(first / before * second / before, weight)
        return REPEATED * repeated + (1 - REPEATED) * second

    masses = {value: mass(one[value], two[value], each) for value in listed}
    rest = others * mass(one.unlisted, two.unlisted, each) + mass(one.none, two.none, NO_NUMBER)
    whole = sum(masses.values()) + rest
    words = {
        candidate.value: candidate.words for candidate in (*first.candidates, *second.candidates)
    }
    ranked = sorted(masses, key=lambda value: (-masses[value], value))
    found = tuple(Candidate(value, words[value], masses[value] / whole) for value in ranked)
    return Hearing(found, words[ranked[0]], second.onset_s, second.offset_s)
