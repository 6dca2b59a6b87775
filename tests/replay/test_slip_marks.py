"""Where it may have gone wrong: each slip on its move, always worded as a possibility."""

from __future__ import annotations

import pytest

from oralquiz.beads import Sum
from oralquiz.judge.diagnosis import Diagnoser
from oralquiz.judge.slip import Slip, SlipKind
from oralquiz.replay.slip_marks import LEAST, MOST, possible, sentence
from oralquiz.replay.step_words import languages, phrases
from oralquiz.replay.story import Story, tell
from oralquiz.replay.turn_story import tell_turns
from tests.replay.made import made


def story(text: str, columns: int = 2) -> Story:
    return tell(Sum.parse(text), columns)


@pytest.mark.parametrize(
    ("text", "heard", "step", "shows", "words"),
    [
        ("34 + 13 - 22", 20, 4, 42, "Maybe the thumb did not move."),
        ("34 + 13 - 22", 45, 5, 45, "Maybe −\xa02 was left out here."),
        # the carry is the step after the one that gives it; the borrow the one before
        ("8 + 9", 7, 3, 7, "Maybe the 1 to carry was forgotten."),
        ("12 - 9", 13, 3, 13, "Maybe the 1 was never taken."),
        ("25 + 38 - 14", 94, 9, None, "Maybe it was 49, said back to front."),
        ("52 + 13 + 24", 106, 3, 82, "Maybe +\xa030 was heard, not +\xa013."),
    ],
)
def test_a_slip_is_on_its_move(
    text: str, heard: int, step: int, shows: int | None, words: str
) -> None:
    told = story(text, 2 if heard < 100 else 3)
    best = possible(told, heard, None, Diagnoser(told.columns))[0]
    assert (best.steps, best.shows) == ((step,), shows)
    assert sentence(best.slips[0], told, "hands", phrases("en")) == words


def test_hands_that_were_not_closed_are_the_first_card() -> None:
    told = story("3 + 1")
    kept = possible(told, 56, 52, Diagnoser(2))[0]
    assert kept.steps == (0,)
    assert "52" in sentence(kept.slips[0], told, "hands", phrases("en"))


def test_several_possible_slips_are_several_and_few() -> None:
    told = story("25 + 38 - 14")
    found = possible(told, 39, None, Diagnoser(2))
    assert 1 < len(found) <= MOST
    odds = [one.probability for one in found]
    assert odds == sorted(odds, reverse=True)
    assert sum(odds) < 1
    assert min(odds) >= LEAST


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("kind", SlipKind)
def test_every_kind_of_slip_is_said_as_a_maybe(language: str, kind: SlipKind) -> None:
    told = story("34 + 13")
    slip = Slip(kind, 2, term=1, column=0, digit=3, before=44, instead=31)
    words = sentence(slip, told, "hands", phrases(language))
    assert words.startswith({"en": "Maybe ", "de": "Vielleicht "}[language])
    assert "{" not in words


def test_only_wrong_answers_are_diagnosed() -> None:
    session = made(["34 + 13 - 22", "7 + 6", "4 + 3"], [20, 13, None])
    told = tell_turns(session, session.turns)
    assert [bool(one.possible) for one in told] == [True, False, False]


def test_every_wrong_answer_of_two_hands_finds_its_steps() -> None:
    """Whatever was heard, every slip that explains it belongs to one of the story's cards."""
    diagnoser = Diagnoser(2)
    for text in ("34 + 13 - 22", "8 + 67 + 19", "91 - 46 + 5"):
        told = story(text)
        for heard in range(100):
            for one in possible(told, heard, 40, diagnoser):
                assert all(0 <= step <= len(told.steps) + 1 for step in one.steps)
