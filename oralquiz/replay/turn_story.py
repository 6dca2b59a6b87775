"""A turn of a session, told: its story in both orders, its timing, where it may have gone wrong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from oralquiz.beads import MoveOrder
from oralquiz.judge import Diagnoser, Verdict, number_said, previous_answers
from oralquiz.replay.slip_marks import Possible, possible
from oralquiz.replay.story import Story, tell
from oralquiz.replay.timing import Timing, time_turn
from oralquiz.rounds import Answered
from oralquiz.session import Session

ORDERS = (MoveOrder.FIVE_FIRST, MoveOrder.ONES_FIRST)


@dataclass(frozen=True)
class TurnStory:
    """``stories`` are the same moves in each of ORDERS; ``possible`` is empty unless wrong."""

    turn: Answered
    stories: tuple[Story, ...]
    timing: Timing
    possible: tuple[Possible, ...]

    @property
    def story(self) -> Story:
        """The moves, in the first of ORDERS: they differ only inside a step."""
        return self.stories[0]

    @property
    def wrong(self) -> bool:
        return self.turn.verdict is Verdict.WRONG


def tell_turns(session: Session, turns: Sequence[Answered]) -> tuple[TurnStory, ...]:
    """Tell ``turns``, some of the session's. Raises FrameError for a sum its frame cannot show."""
    diagnoser = Diagnoser(session.round.columns)
    every = session.turns
    said = ((turn.pupil, number_said(turn.verdict, turn.value)) for turn in every)
    previous = dict(zip((turn.index for turn in every), previous_answers(said), strict=True))
    told: list[TurnStory] = []
    for turn in turns:
        stories = tuple(tell(turn.sum, session.round.columns, order) for order in ORDERS)
        slips: tuple[Possible, ...] = ()
        if turn.verdict is Verdict.WRONG and turn.value is not None:
            slips = possible(stories[0], turn.value, previous[turn.index], diagnoser)
        timing = time_turn(turn, stories[0], session.sample_rate, len(session.audio))
        told.append(TurnStory(turn, stories, timing, slips))
    return tuple(told)


def choose(
    turns: Iterable[Answered], *, only_wrong: bool = False, pupil: str = ""
) -> tuple[Answered, ...]:
    """The turns to be shown: all, only what was not right, or only one pupil's."""
    return tuple(
        turn
        for turn in turns
        if not (only_wrong and turn.verdict is Verdict.RIGHT) and pupil in ("", turn.pupil)
    )
