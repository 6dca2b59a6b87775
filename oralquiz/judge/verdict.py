"""Right, wrong, unclear or silent: a child is never marked wrong because the machine misheard.

The verdict rests on P(the pupil said the right number | sound), as the recogniser's calibrated
confidences give it, and on nothing else: not on what the pupil is expected to know, so that a
good name does not earn a mark nor a bad one cost it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from oralquiz.judge.confusable import confusable
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
    ``close``: a second guess that sounds like the first (thirteen, thirty) and reaches this share
    of its probability makes the verdict unclear whatever the thresholds say, when one of the two
    is the right answer. ``told_from``: nobody is marked wrong unless one number was heard with
    this probability at least; where many are possible, nobody knows what was said.
    ``may_change``: whether an answer asked for once more may differ from what was heard the first
    time, or then waits for the teacher.
    """

    name: str
    right_from: float
    wrong_to: float
    close: float = 0.005
    told_from: float = 0.5
    may_change: bool = True

    def __post_init__(self) -> None:
        if not 0 <= self.wrong_to < self.right_from <= 1:
            raise ValueError(f"policy {self.name}: 0 <= wrong_to < right_from <= 1 does not hold")

    @property
    def cost_of_wronging(self) -> float:
        """What marking a right answer wrong is taken to cost, in askings once more.

        Asking again is the cheaper way out exactly while P(right) times this cost is above 1.
        """
        return 1 / self.wrong_to if self.wrong_to else float("inf")

    @property
    def cost_of_passing(self) -> float:
        """What marking a wrong answer right is taken to cost, in askings once more."""
        return 1 / (1 - self.right_from) if self.right_from < 1 else float("inf")


PRACTICE = Policy("practice", right_from=0.99, wrong_to=0.01)
"""Kind: at home and in class. Asked once more, a pupil may think better of it."""

TEST = Policy(
    "test", right_from=0.999, wrong_to=0.001, close=0.0005, told_from=0.9, may_change=False
)
"""Strict: ten times as sure both ways, and a second try only repeats the first."""

POLICIES = {policy.name: policy for policy in (PRACTICE, TEST)}


def judge(hearing: Hearing, answer: int, policy: Policy = PRACTICE) -> Verdict:
    """The verdict on one hearing of a sum whose answer is ``answer``.

    No voice: silent. A voice without a number: unclear. Else the probability that ``answer`` was
    said decides; what the recogniser leaves to "no number of the range" counts for neither side.
    """
    if not hearing.voiced:
        return Verdict.SILENT
    if not hearing.guesses or _torn(hearing, answer, policy.close):
        return Verdict.UNCLEAR
    right = hearing.probability(answer)
    wrong = sum(guess.confidence for guess in hearing.guesses if guess.value != answer)
    if right >= policy.right_from:
        return Verdict.RIGHT
    told = hearing.confidence >= policy.told_from
    if told and right <= policy.wrong_to and wrong >= 1 - policy.wrong_to:
        return Verdict.WRONG
    return Verdict.UNCLEAR


def _torn(hearing: Hearing, answer: int, close: float) -> bool:
    """Whether the first two guesses sound alike, are close, and one of them is the answer."""
    if len(hearing.guesses) < 2:
        return False
    first, second = hearing.guesses[:2]
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
    """Where an answer stands after all that was heard of it.

    ``attempt`` is the index of the hearing that the verdict (and the value) come from.
    """

    verdict: Verdict
    next: Next
    attempt: int


def decide(
    hearings: Sequence[Hearing], answer: int, policy: Policy = PRACTICE, asks: int = 1
) -> Decision:
    """The decision after ``hearings``, the first try first, one for every time it was asked for.

    An unclear answer is asked for again up to ``asks`` times, then it waits for the teacher's
    ear. Silence is asked about only when something unclear went before it: who said nothing
    when asked again is not silent, the teacher listens to the first try. A policy that does not
    let answers change sends a second try whose number was not among the guesses of the first to
    the teacher too. Raises ValueError without a hearing.
    """
    if not hearings:
        raise ValueError("nothing was heard yet: there is nothing to decide")
    last = len(hearings) - 1
    verdict = judge(hearings[last], answer, policy)
    if verdict is Verdict.SILENT and last == 0:
        return Decision(verdict, Next.GO_ON, 0)
    if verdict in (Verdict.UNCLEAR, Verdict.SILENT):
        if last < asks:
            return Decision(Verdict.UNCLEAR, Next.ASK_AGAIN, last)
        heard = max((i for i, hearing in enumerate(hearings) if hearing.voiced), default=0)
        return Decision(Verdict.UNCLEAR, Next.TEACHER, heard)
    if not policy.may_change and _changed(hearings):
        return Decision(Verdict.UNCLEAR, Next.TEACHER, last)
    return Decision(verdict, Next.GO_ON, last)


def _changed(hearings: Sequence[Hearing]) -> bool:
    """Whether the last number is none that an earlier hearing held possible."""
    *earlier, last = hearings
    value = last.value
    return any(
        hearing.guesses and value not in {guess.value for guess in hearing.guesses}
        for hearing in earlier
    )
