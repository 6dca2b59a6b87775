"""Where it may have gone wrong: the likely slips, each at the step where it would have happened.

Several slips can lead to the same wrong answer. They are shown as possible, the likeliest first,
never as what happened.
"""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.judge import Diagnoser, Explanation, Slip, SlipKind, partner
from oralquiz.replay.step_words import Form, StepPhrases, signed, term_written, written
from oralquiz.replay.story import Story, StoryStep

MOST = 3  # are shown at most
LEAST = 0.05  # and none that is less probable than this
LONGEST = 100  # steps of a sum: beyond, explaining takes seconds, and nobody hears such sums

_CARRIES = frozenset(
    {SlipKind.CARRY_FORGOTTEN, SlipKind.CARRY_WRONG_COLUMN, SlipKind.CARRY_WRONG_WAY}
)
_BORROWS = frozenset(
    {SlipKind.BORROW_FORGOTTEN, SlipKind.BORROW_WRONG_COLUMN, SlipKind.BORROW_WRONG_WAY}
)


@dataclass(frozen=True)
class Possible:
    """One explanation of a wrong answer.

    ``steps`` are the numbers of the steps (from 1) where it would have happened, one for each of
    its slips; 0 is before the first, ``len(story.steps) + 1`` the answer. ``shows`` is what the
    frame would have shown after the term of the first slip; None where that says nothing.
    """

    probability: float
    slips: tuple[Slip, ...]
    steps: tuple[int, ...]
    shows: int | None


def possible(
    story: Story, heard: int, previous: int | None, diagnoser: Diagnoser
) -> tuple[Possible, ...]:
    """The likeliest explanations of ``heard``, best first. ``previous``: the answer before."""
    if len(story.steps) > LONGEST:
        return ()
    explanations = diagnoser.diagnose(story.sum, heard, previous).explanations
    return tuple(
        Possible(
            explanation.probability,
            explanation.slips,
            tuple(_step(story, slip) for slip in explanation.slips),
            _shows(explanation),
        )
        for explanation in explanations[:MOST]
        if explanation.probability >= LEAST
    )


def sentence(slip: Slip, story: Story, form: Form, table: StepPhrases) -> str:
    """``slip`` in words a child reads."""
    term = "" if slip.term is None else term_written(story.sum.terms, slip.term)
    here = slip.error // 10 ** (slip.column or 0)  # as this column counts
    digit, instead = slip.digit or 0, slip.instead or 0
    right, wrong = -here, here
    if slip.kind is SlipKind.COMPLEMENT_WRONG_WAY:
        right, wrong = -here // 2, here // 2
    elif slip.kind is SlipKind.COMPLEMENT_WRONG_PARTNER and slip.rule is not None:
        right = partner(slip.rule)
        wrong = right + here
    elif slip.kind is SlipKind.COLUMN_WRONG_WAY:
        wrong = -digit
    return table.text(
        "slip",
        slip.kind.value,
        five=table.text(form, "five"),
        one=table.text(form, "one_part"),
        right=signed(right),
        wrong=signed(wrong),
        digit=signed(digit),
        term=term,
        instead=written((instead,)) if slip.term == 0 else signed(instead),
        value=instead,
    )


def _step(story: Story, slip: Slip) -> int:
    if slip.term is None:
        return 0 if slip.kind is SlipKind.PREVIOUS_KEPT else len(story.steps) + 1
    steps = story.steps_of(slip.term)
    if slip.column is None:  # the term as a whole was taken in wrongly
        return steps[0].number
    # after another slip the term was played in other moves than the correct ones: then its first
    at = next((step for step in steps if _is_move(step, slip)), steps[0])
    if slip.kind in _CARRIES:  # the carry is the step after the one that gives it
        return min(at.number + 1, steps[-1].number)
    if slip.kind in _BORROWS:  # the borrow is the step before the one that asked for it
        return max(at.number - 1, steps[0].number)
    return at.number


def _is_move(step: StoryStep, slip: Slip) -> bool:
    move = step.move
    return (move.column, move.digit, move.carry) == (slip.column, slip.digit, slip.carry)


def _shows(explanation: Explanation) -> int | None:
    term = explanation.slips[0].term
    return None if term is None else explanation.totals[term]
