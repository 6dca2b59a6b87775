"""Right, wrong, unclear or silent: a child is never marked wrong because the machine misheard.

The verdict rests on P(the pupil said the right number | sound): the recogniser's calibrated
confidences, which take every number to be equally likely, and the odds that the right one is said
more often than any other. These odds are the same for every pupil and every sum, so that a good
reputation earns no mark and a bad one costs none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from types import MappingProxyType

from oralquiz.judge.asking_alike import drawn, one_of
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
    ``asks_alike``: whether right answers are asked about as often as wrong ones, so that being
    asked again tells a pupil nothing (False: rounds held before there was this).
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
    asks_alike: bool = False

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


PRACTICE = Policy(
    "practice", right_from=0.99, wrong_to=0.01, odds=20, part_waits=True, asks_alike=True
)
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
    asks_alike=True,
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


NOTHING_KNOWN: Mapping[int, float] = MappingProxyType({})


class Next(StrEnum):
    """What happens after a verdict."""

    GO_ON = "go_on"
    ASK_AGAIN = "ask_again"
    TEACHER = "teacher"


@dataclass(frozen=True)
class Decision:
    """The state of an answer after everything heard so far.

    ``hearing`` is what the verdict and the number rest on: all attempts taken together. ``part``:
    the number was clear, and is asked about as what may be part of another.
    """

    verdict: Verdict
    next: Next
    hearing: Hearing
    part: bool = False

    @property
    def asks(self) -> bool:
        return self.next is Next.ASK_AGAIN


def decide(
    hearings: Sequence[Hearing],
    answer: int,
    policy: Policy = PRACTICE,
    asks: int = 1,
    numbers: int = 100,
    slips: Mapping[int, float] = NOTHING_KNOWN,
) -> Decision:
    """The decision after ``hearings``: one for each time the answer was asked for, in order.

    All attempts are weighed together (`combine_hearings`). An unclear answer is asked for again up
    to ``asks`` times, then it waits for the teacher's ear. A wrong number that may be part of the
    right one, or the right one with another pupil's word ("three" and "fifty three"), is asked
    about once, however surely it was heard, and if it is heard again it waits for the teacher: one
    wrong answer in ten of `simulated` pupils is of this kind. Silence is asked about only after
    something unclear: a pupil who says nothing when asked again is not silent; the teacher listens
    to the first attempt. A policy that does not let answers change also sends a number that was not
    among the candidates of every attempt to the teacher.

    Being asked again must not tell a pupil that the answer was wrong. So a policy that
    ``asks_alike`` asks about a first hearing that is clearly wrong where it would ask if that
    number were right, and about one that is clearly right where it would ask if the answer were
    another: one drawn from ``slips``, the numbers that pupils who slip say to this sum, with their
    shares (`wrong_answers`). The hearing itself is the draw, so it comes out the same again. What
    was clearly right stays right, whatever is said then. Raises ValueError without a hearing.
    """
    hearing = combine_hearings(hearings, numbers)
    if policy.asks_alike:
        first = judge(hearings[0], answer, policy, numbers)
        doubt = _doubt_alike(hearings[0], first, policy, numbers, slips)
        if len(hearings) == 1 <= asks and doubt is not _Doubt.NONE:
            part = doubt is _Doubt.PART
            return Decision(Verdict.UNCLEAR, Next.ASK_AGAIN, hearing, part)
        if first is Verdict.RIGHT:
            return Decision(first, Next.GO_ON, hearings[0])
    verdict = judge(hearing, answer, policy, numbers)
    if verdict is Verdict.SILENT and len(hearings) == 1:
        return Decision(verdict, Next.GO_ON, hearing)
    once = sum(bool(one.candidates) for one in hearings) == 1
    doubtful = once or policy.part_waits
    part = verdict is Verdict.WRONG and doubtful and _in_part(hearing, answer)
    if part or verdict in (Verdict.UNCLEAR, Verdict.SILENT):
        then = Next.ASK_AGAIN if len(hearings) <= asks else Next.TEACHER
        return Decision(Verdict.UNCLEAR, then, hearing, part)
    if not policy.may_change and _changed(hearings, hearing.value):
        return Decision(Verdict.UNCLEAR, Next.TEACHER, hearing)
    return Decision(verdict, Next.GO_ON, hearing)


class _Doubt(Enum):
    """Why a first hearing is asked about."""

    NONE = auto()
    PART = auto()
    UNCLEAR = auto()


def _doubt(hearing: Hearing, answer: int, policy: Policy, numbers: int) -> _Doubt:
    verdict = judge(hearing, answer, policy, numbers)
    if verdict is Verdict.UNCLEAR:
        return _Doubt.UNCLEAR
    part = verdict is Verdict.WRONG and _in_part(hearing, answer)
    return _Doubt.PART if part else _Doubt.NONE


def _doubt_alike(
    hearing: Hearing, verdict: Verdict, policy: Policy, numbers: int, slips: Mapping[int, float]
) -> _Doubt:
    """Why ``hearing``, which is clear, would be asked about if it were wrong instead of right, or
    right instead of wrong."""
    other = None
    if verdict is Verdict.WRONG:
        other = hearing.value
    elif verdict is Verdict.RIGHT:
        other = one_of(slips, drawn(hearing))
    return _Doubt.NONE if other is None else _doubt(hearing, other, policy, numbers)


def _in_part(hearing: Hearing, answer: int) -> bool:
    return overlapping(hearing.candidates[0].value, answer)


def _changed(hearings: Sequence[Hearing], value: int | None) -> bool:
    """Whether some attempt in which a number was heard rules out ``value``."""
    return any(
        hearing.candidates and value not in {candidate.value for candidate in hearing.candidates}
        for hearing in hearings
    )
