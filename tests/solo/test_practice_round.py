from __future__ import annotations

from datetime import UTC, datetime

import pytest

from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.learn import Practice
from oralquiz.records.pupil_list import Pupil
from oralquiz.rounds.progress import Answered, Attempt
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.solo.paced_reader import PacedReader
from oralquiz.solo.practice_round import PracticeRound
from oralquiz.sound.clip import Clip
from oralquiz.speak.dictation import Dictation
from tests.session.room import PulseReader

ASHA = Pupil(1, "Asha", "3B", True)
NOW = datetime(2026, 1, 5, 16, tzinfo=UTC)


def practice_round(count: int = 6) -> PracticeRound:
    return PracticeRound(
        Practice("two-hands", "five:+3", seed=1), ASHA, "five:+3", count, lambda: NOW
    )


def answered(chosen: PracticeRound, turn: int, value: int | None, pace_s: float = 3.0) -> Answered:
    its = chosen.round.turns[turn]
    verdict = Verdict.RIGHT if value == its.sum.answer else Verdict.WRONG
    heard = Attempt("", (), None, None, verdict, value, 1.0)
    return Answered(turn, "Asha", its.sum, True, 0, 9, (), (heard,), (), True, pace_s)


def test_every_sum_says_why_it_was_chosen() -> None:
    round_ = practice_round().round
    assert (round_.place, round_.step, len(round_.turns)) == ("home", "five:+3", 6)
    assert {turn.pupil for turn in round_.turns} == {"Asha"}
    assert all(turn.rule and turn.reason for turn in round_.turns)


def test_right_answers_make_it_quicker_and_wrong_ones_slower() -> None:
    quick, slow = practice_round(), practice_round()
    begun = quick.pace_s()
    for turn in range(5):
        quick.tell(answered(quick, turn, quick.round.turns[turn].sum.answer, quick.pace_s()))
        slow.tell(answered(slow, turn, 99, slow.pace_s()))
    assert quick.pace_s() < begun < slow.pace_s()


def test_the_pupil_is_read_to_more_slowly_on_request() -> None:
    chosen = practice_round()
    before = chosen.pace_s()
    chosen.slower()
    assert chosen.pace_s() >= 1.19 * before


def test_a_sum_that_was_skipped_says_nothing() -> None:
    chosen = practice_round()
    before = chosen.pace_s()
    turn = chosen.round.turns[0]
    chosen.tell(Answered(0, "Asha", turn.sum, True, 0, 9, ended=True, pace_s=3.0))
    chosen.tell(None)
    assert chosen.pace_s() == before


class Quickest(PulseReader):
    """Reads at any pace of two seconds and more."""

    def __init__(self, pace_s: float) -> None:
        self.pace_s = pace_s

    def dictation(self, turn: Turn) -> Dictation:
        if self.pace_s < 2.0:
            raise BadInput("too quick")
        made = super().dictation(turn)
        return Dictation(made.sum, self.pace_s, made.sample_rate, made.samples, made.terms)

    def phrase(self, text: str) -> Clip:
        return super().phrase(text)


def test_each_sum_is_read_at_the_pace_of_the_moment() -> None:
    paces = [3.0, 2.51, 1.4]
    opened: list[float] = []

    def reader(pace_s: float) -> Quickest:
        opened.append(pace_s)
        return Quickest(pace_s)

    paced = PacedReader(reader, lambda: paces[0])
    turn = practice_round().round.turns[0]
    assert paced.dictation(turn).pace_s == 3.0
    paces.pop(0)
    assert paced.dictation(turn).pace_s == 2.5
    assert paced.dictation(turn).pace_s == 2.5
    paces.pop(0)
    assert 2.0 <= paced.dictation(turn).pace_s <= 2.25  # as quick as it can be read
    assert opened.count(2.5) == 1


def test_what_can_never_be_read_is_refused() -> None:
    class Mute(PulseReader):
        def dictation(self, turn: Turn) -> Dictation:
            raise BadInput("no such number")

    paced = PacedReader(lambda pace_s: Mute(), lambda: 3.0)
    with pytest.raises(BadInput, match="no such number"):
        paced.prepare(Round("r", "2026-01-05", practice_round().round.turns), Options())
