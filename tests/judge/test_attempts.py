import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.judge.attempts import NO_NUMBER, REPEATED, UNLISTED, combine_hearings
from oralquiz.listen.hearing import Candidate, Hearing
from tests.judge.test_verdict import COUGH, SILENCE, heard

TEN = range(10)


def every_probability(hearing: Hearing) -> dict[int | None, float]:
    """The probability of each number 0..9, and (None) of no number, treating unlisted ones as
    `attempts` does."""
    left = 1 - sum(candidate.confidence for candidate in hearing.candidates)
    listed = {candidate.value for candidate in hearing.candidates}
    found: dict[int | None, float] = {
        value: hearing.probability(value)
        if value in listed
        else left * UNLISTED / (10 - len(listed))
        for value in TEN
    }
    found[None] = left * (1 - UNLISTED)
    return found


def by_all_pairs(first: Hearing, second: Hearing) -> dict[int | None, float]:
    """What was said at the second attempt, by summing over every pair of things said."""
    before: dict[int | None, float] = dict.fromkeys(TEN, (1 - NO_NUMBER) / 10)
    before[None] = NO_NUMBER
    heard_first, heard_second = every_probability(first), every_probability(second)
    found: dict[int | None, float] = dict.fromkeys(before, 0.0)
    for once in before:
        for then in before:
            repeats = REPEATED if once == then else 0.0
            chance = before[once] * (repeats + (1 - REPEATED) * before[then])
            found[then] += (
                chance * heard_first[once] / before[once] * heard_second[then] / before[then]
            )
    whole = math.fsum(found.values())
    return {said: share / whole for said, share in found.items()}


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (heard((2, 0.6)), heard((2, 0.6))),
        (heard((2, 0.6), (3, 0.3)), heard((3, 0.5), (2, 0.2))),
        (heard((2, 0.7)), heard((5, 0.7))),
        (heard((2, 0.7)), heard((5, 0.999))),
        (heard((7, 0.05)), heard((7, 0.9), (1, 0.01))),
    ],
)
def test_independent_attempts_follow_bayes_rule(first: Hearing, second: Hearing) -> None:
    both, wanted = combine_hearings([first, second], 10, weight=1), by_all_pairs(first, second)
    assert {
        candidate.value: candidate.confidence for candidate in both.candidates
    } == pytest.approx({candidate.value: wanted[candidate.value] for candidate in both.candidates})


def test_half_the_weight_of_the_same_again_adds_nothing() -> None:
    once = heard((2, 0.6), (3, 0.3))
    both = combine_hearings([once, once], 10, weight=0.5)
    assert both.probability(2) == pytest.approx(0.6)
    assert both.probability(3) == pytest.approx(0.3)


hearings = st.lists(
    st.tuples(st.integers(0, 99), st.floats(0.001, 1)), max_size=5, unique_by=lambda g: g[0]
).map(
    lambda candidates: heard(
        *sorted(
            ((v, c / max(1.0, sum(c for _, c in candidates))) for v, c in candidates),
            key=lambda g: -g[1],
        )
    )
)


@given(hearings)
def test_one_attempt_stays_as_it_is(hearing: Hearing) -> None:
    assert combine_hearings([hearing]) is hearing
    assert combine_hearings([COUGH, hearing]).candidates == hearing.candidates
    assert combine_hearings([hearing, SILENCE]) is hearing


@given(st.lists(hearings, min_size=1, max_size=4))
def test_probabilities_stay_probabilities(attempts: list[Hearing]) -> None:
    both = combine_hearings(attempts)
    confidences = [candidate.confidence for candidate in both.candidates]
    assert confidences == sorted(confidences, reverse=True)
    assert all(confidence >= 0 for confidence in confidences)
    assert sum(confidences) <= 1 + 1e-9
    assert {candidate.value for candidate in both.candidates} == {
        g.value for h in attempts for g in h.candidates
    }


@given(st.integers(0, 99), st.floats(0.1, 0.95))
def test_the_same_number_twice_is_surer_than_once(value: int, confidence: float) -> None:
    once = heard((value, confidence))
    assert combine_hearings([once, once]).confidence > confidence


@given(hearings, st.integers(0, 99))
def test_what_is_said_clearly_in_the_end_counts(earlier: Hearing, value: int) -> None:
    assert combine_hearings([earlier, heard((value, 0.9999))]).value == value


def test_attempts_without_a_number() -> None:
    assert combine_hearings([COUGH, SILENCE]) is COUGH
    assert combine_hearings([SILENCE, SILENCE]) is SILENCE
    with pytest.raises(ValueError, match="nothing was heard"):
        combine_hearings([])


def test_words_and_times_are_of_the_last_attempt_with_a_number() -> None:
    first = Hearing((Candidate(25, "twenty five", 0.6),), "twenty five", 0.5, 1.0)
    second = Hearing((Candidate(25, "two five", 0.4),), "two five", 2.5, 3.0)
    both = combine_hearings([first, second])
    assert both.candidates[0].words == both.words == "two five"
    assert (both.onset_s, both.offset_s) == (2.5, 3.0)
