"""Right, wrong, unclear or silent: a child is never marked wrong because the machine misheard.

The verdict rests on P(the pupil said the right number | sound): the recogniser's calibrated
confidences, which take every number to be equally likely, and the odds that the right one is said
more often than any other. These odds are the same for every pupil and every sum, so that a good
reputation earns no mark and a bad one costs none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from oralquiz.judge.attempts import combine_hearings
from oralquiz.judge.confusable import confusable, overlapping
from oralquiz.listen import Hearing


class Verdict(StrEnum):
    RIGHT = "right"
    WRONG = "wrong"
    UNCLEAR = "unclear"
    SILENT = "silent"


@dataclass(frozen=True)
class Policy:
    """How sure a verdict must be, as probabilities that the pupil said the right number.

    ``right`` at or above ``right_from``, ``wrong`` at or below ``wrong_to``; between: unclear.

    ``odds``: how much likelier the right number is than any single other one before anything is
    heard (1: no benefit of the doubt). ``number_from``, ``told_from``: nobody is marked wrong
    unless some other number was said with at least the first probability, and one particular
    number with at least the second: a cough is no answer, and where many numbers are possible
    nobody knows which was said. ``close``: when the first two candidates sound alike (thirteen,
    thirty), one of them is right, and the second reaches this share of the first one's
    confidence, the verdict is unclear whatever the thresholds say. ``may_change``: whether a
    repeated answer may differ from what was heard the first time; if not, it then waits for the
    teacher. ``part_waits``: whether a number that may be part of the right one waits for the
    teacher when it is heard again (False: rounds held before there was this, which marked it).
    """

    name: str
    right_from: float
    wrong_to: float
    odds: float = 1.0
    number_from: float = 0.9
    told_from: float = 0.5
    close: float = 0.005
    may_change: bool = True
    part_waits: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.wrong_to < self.right_from <= 1:
            raise ValueError(f"policy {self.name}: 0 <= wrong_to < right_from <= 1 does not hold")

    @property
    def cost_of_wronging(self) -> float:
        """The cost of marking a right answer wrong, in units of asking once more.

        Asking again costs less exactly while P(right) times this cost is above 1.
        """
        return 1 / self.wrong_to if self.wrong_to else float("inf")

    @property
    def cost_of_passing(self) -> float:
        """The cost of marking a wrong answer right, in units of asking once more."""
        return 1 / (1 - self.right_from) if self.right_from < 1 else float("inf")


PRACTICE = Policy("practice", right_from=0.99, wrong_to=0.01, odds=20, part_waits=True)
"""Lenient, for home and class. Half of all answers are right and the others are slips, spread over
some twenty numbers: hence odds of 20. A pupil who is asked again may answer differently."""

TEST = Policy(
    "test",
    right_from=0.995,
    wrong_to=0.005,
    odds=3,
    number_from=0.95,
    told_from=0.9,
    may_change=False,
    part_waits=True,
)
"""Strict: twice as sure both ways, little benefit of the doubt, and a second attempt can only
confirm the first. More answers are asked for again, and more wait for the teacher."""

POLICIES = {policy.name: policy for policy in (PRACTICE, TEST)}


def probability_right(
    hearing: Hearing, answer: int, policy: Policy = PRACTICE, numbers: int = 100
) -> float:
    """P(the pupil said ``answer`` | sound), by Bayes' rule with the odds of ``policy``.

    ``numbers`` is how many numbers could have been said (100 on two hands): the odds are at most
    one less than that, which makes the right one as likely as all others together.
    """
    odds = min(policy.odds, max(1, numbers - 1))
    heard = hearing.probability(answer)
    return heard * odds / (heard * odds + 1 - heard) if heard else 0.0


def judge(hearing: Hearing, answer: int, policy: Policy = PRACTICE, numbers: int = 100) -> Verdict:
    """The verdict on one hearing for a sum whose answer is ``answer``.

    No voice: silent. A voice without a number: unclear. Otherwise the probability that ``answer``
    was said decides. ``numbers``: see ``probability_right``.
    """
    if not hearing.voiced:
        return Verdict.SILENT
    if not hearing.candidates or _torn(hearing, answer, policy.close):
        return Verdict.UNCLEAR
    right = probability_right(hearing, answer, policy, numbers)
    if right >= policy.right_from:
        return Verdict.RIGHT
    others = [candidate.confidence for candidate in hearing.candidates if candidate.value != answer]
    told = max(others, default=0.0) >= policy.told_from and sum(others) >= policy.number_from
    return Verdict.WRONG if told and right <= policy.wrong_to else Verdict.UNCLEAR


def _torn(hearing: Hearing, answer: int, close: float) -> bool:
    """Whether the first two candidates sound alike, are close, and one of them is the answer."""
    if len(hearing.candidates) < 2:
        return False
    first, second = hearing.candidates[:2]
    return (
        answer in (first.value, second.value)
        and confusable(first.value, second.value)
        and second.confidence >= close * first.confidence
    )


class Next(StrEnum):
    """What happens after a verdict."""

    GO_ON = "go_on"
    ASK_AGAIN = "ask_again"
    TEACHER = "teacher"


@dataclass(frozen=True)
class Decision:
    """The state of an answer after everything heard so far.

    ``hearing`` is what the verdict and the number rest on: all attempts taken together.
    """

    verdict: Verdict
    next: Next
    hearing: Hearing


def decide(
    hearings: Sequence[Hearing],
    answer: int,
    policy: Policy = PRACTICE,
    asks: int = 1,
    numbers: int = 100,
) -> Decision:
    """The decision after ``hearings``: one for each time the answer was asked for, in order.

    All attempts are weighed together (`combine_hearings`). An unclear answer is asked for again up
    to ``asks`` times, then it waits for the teacher's ear. A wrong number that may be part of the
    right one, or the right one with another pupil's word ("three" and "fifty three"), is asked
    about once, however surely it was heard, and if it is heard again it waits for the teacher: one
    wrong answer in ten of `simulated` pupils is of this kind. Silence is asked about only after
    something unclear: a pupil who says nothing when asked again is not silent; the teacher listens
    to the first attempt. A policy that does not let answers change also sends a number that was not
    among the candidates of every attempt to the teacher. Raises ValueError without a hearing.
    """
    hearing = combine_hearings(hearings, numbers)
    verdict = judge(hearing, answer, policy, numbers)
    if verdict is Verdict.SILENT and len(hearings) == 1:
        return Decision(verdict, Next.GO_ON, hearing)
    once = sum(bool(one.candidates) for one in hearings) == 1
    doubtful = once or policy.part_waits
    if verdict is Verdict.WRONG and doubtful and overlapping(hearing.candidates[0].value, answer):
        verdict = Verdict.UNCLEAR
    if verdict in (Verdict.UNCLEAR, Verdict.SILENT):
        asking = len(hearings) <= asks
        return Decision(Verdict.UNCLEAR, Next.ASK_AGAIN if asking else Next.TEACHER, hearing)
    if not policy.may_change and _changed(hearings, hearing.value):
        return Decision(Verdict.UNCLEAR, Next.TEACHER, hearing)
    return Decision(verdict, Next.GO_ON, hearing)


def _changed(hearings: Sequence[Hearing], value: int | None) -> bool:
    """Whether some attempt in which a number was heard rules out ``value``."""
    return any(
        hearing.candidates and value not in {candidate.value for candidate in hearing.candidates}
        for hearing in hearings
    )
