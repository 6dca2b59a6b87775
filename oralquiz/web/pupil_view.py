"""What the page of a device that takes part in a class round shows."""

from __future__ import annotations

from oralquiz.web.device_messages import ShowAgain, ShowAnswer, ShowTurn
from oralquiz.web.participant import Participant


def turn_shown(phase: str, participant: Participant) -> ShowTurn:
    """``listen``, ``speak`` or ``paused`` in the present turn."""
    return ShowTurn(phase, *_place(participant))


def _place(participant: Participant) -> tuple[int, int, str]:
    """The present turn, of how many, and whose it is."""
    turn, turns = participant.progress.turn, participant.round.turns
    return turn, len(turns), turns[turn].pupil


def again_shown(participant: Participant) -> ShowAgain:
    """What was heard is shown if it was a number."""
    now = participant.progress.now
    last = now.attempts[-1] if now and now.attempts else None
    heard = str(last.value) if last and last.words and last.value is not None else ""
    return ShowAgain(*_place(participant), heard)


def answer_shown(participant: Participant) -> ShowAnswer:
    """How the present turn ended."""
    now = participant.progress.now
    if now is None or now.verdict is None:
        return ShowAnswer(*_place(participant), "skipped", None, typed=False)
    return ShowAnswer(*_place(participant), now.verdict, now.value, typed=now.typed)
