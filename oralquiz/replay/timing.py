"""When things happen: each step of a story gets its place on the recording of its sum.

Everything here is in seconds from the start of the turn's clip, the stretch of the session that
holds one sum from just before its first term to just after the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from oralquiz.listen import readable
from oralquiz.replay.story import Story
from oralquiz.rounds import Answered

LEAD_S = 0.4  # of the clip before the first term
TAIL_S = 0.8  # of the clip after the answer
THINK_S = (
    0.5  # the hands have at least this long for the last term, even if the answer came at once
)
MOVING = 0.7  # part of a step's slot in which something moves; then it rests
QUIET_PACE_S = 2.5  # where nothing was recorded


@dataclass(frozen=True)
class Beat:
    """The place of one step: it is shown from ``slot`` on, and moves from ``start`` to ``end``."""

    slot: float
    start: float
    end: float


@dataclass(frozen=True)
class Mark:
    """Something said: ``text`` between ``onset`` and ``offset``."""

    text: str
    onset: float
    offset: float


@dataclass(frozen=True)
class Timing:
    """One turn's clip: ``first`` and ``last`` are its session samples (last exclusive).

    ``terms`` are the dictated terms, ``answers`` what was heard of the pupil, first to last;
    ``beats`` belong to the story's steps, one each; ``answer_at`` is where the answer is due.
    """

    first: int
    last: int
    duration: float
    terms: tuple[Mark, ...]
    answers: tuple[Mark, ...]
    beats: tuple[Beat, ...]
    answer_at: float


def time_turn(turn: Answered, story: Story, rate: int, recorded: int) -> Timing:
    """The timing of ``turn`` in a session of ``recorded`` samples at ``rate`` hertz.

    A turn that was not dictated to its end (cut short, or its sound lost) is paced as if it had
    been, so that its moves can still be shown.
    """
    if len(turn.terms) != len(turn.sum.terms):
        return quiet(story, turn.start)
    first = max(0, turn.terms[0].onset - round(LEAD_S * rate))
    terms = tuple(
        Mark(t.text, (t.onset - first) / rate, (t.offset - first) / rate) for t in turn.terms
    )
    answers = tuple(
        Mark(
            readable(a.words) if a.value is None else str(a.value),
            (a.onset - first) / rate,
            (a.offset - first) / rate,
        )
        for a in turn.attempts
        if a.onset is not None and a.offset is not None
    )
    pace = (terms[-1].onset - terms[0].onset) / (len(terms) - 1) if len(terms) > 1 else THINK_S
    due = answers[0].onset if answers else terms[-1].onset + max(pace, 2 * THINK_S)
    answer_at = max(due, terms[-1].offset + THINK_S)
    beats = place(story, [(t.onset, (t.onset + t.offset) / 2) for t in terms], answer_at)
    end = max([answer_at, *(a.offset for a in answers)]) + TAIL_S
    last = max(first, min(recorded, first + round(end * rate)))
    return Timing(first, last, max(end, (last - first) / rate), terms, answers, beats, answer_at)


def quiet(story: Story, first: int) -> Timing:
    """The timing of a turn of which there is no sound."""
    onsets = [LEAD_S + k * QUIET_PACE_S for k in range(len(story.sum.terms))]
    answer_at = LEAD_S + len(onsets) * QUIET_PACE_S
    beats = place(story, [(onset, onset) for onset in onsets], answer_at)
    return Timing(first, first, answer_at + TAIL_S, (), (), beats, answer_at)


def place(story: Story, terms: Sequence[tuple[float, float]], answer_at: float) -> tuple[Beat, ...]:
    """A beat for every step: the steps of a term share the time until the next term evenly.

    ``terms`` gives for each term when its card goes up and when its first move may start.
    """
    beats: list[Beat] = []
    ends = [onset for onset, _ in terms[1:]] + [answer_at]
    for index, ((onset, start), end) in enumerate(zip(terms, ends, strict=True)):
        steps = story.steps_of(index)
        each = (end - start) / len(steps)
        for n in range(len(steps)):
            at = start + n * each
            beats.append(Beat(onset if n == 0 else at, at, at + MOVING * each))
    return tuple(beats)
