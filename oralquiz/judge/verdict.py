"""Right, wrong, unclear or silent: a child is never marked wrong because the machine misheard."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from oralquiz.listen.hearing import Hearing


class Verdict(StrEnum):
    RIGHT = "right"
    WRONG = "wrong"
    UNCLEAR = "unclear"
    SILENT = "silent"


@dataclass(frozen=True)
class Policy:
    """Where certainty begins: probabilities that the pupil said the right number.

    ``right`` at or above ``right_from``, ``wrong`` at or below ``wrong_to``; between: unclear.
    """

    name: str
    right_from: float
    wrong_to: float


PRACTICE = Policy("practice", right_from=0.99, wrong_to=0.01)


def judge(hearing: Hearing, answer: int, policy: Policy = PRACTICE) -> Verdict:
    """The verdict on one hearing of a sum whose answer is ``answer``."""
    if not hearing.voiced:
        return Verdict.SILENT
    if not hearing.guesses:
        return Verdict.UNCLEAR
    probability = hearing.probability(answer)
    if probability >= policy.right_from and hearing.value == answer:
        return Verdict.RIGHT
    if probability <= policy.wrong_to and hearing.value != answer:
        return Verdict.WRONG
    return Verdict.UNCLEAR
