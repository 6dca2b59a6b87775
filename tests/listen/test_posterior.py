"""From scores of hypotheses to probabilities of numbers, against calculations by hand."""

from __future__ import annotations

import math

import pytest

from oralquiz.listen.hearing import Candidate
from oralquiz.listen.hypothesis import Hypothesis, Word
from oralquiz.listen.languages.en import EnglishNumbers
from oralquiz.listen.posterior import Calibration, candidates, number_probability

PLAIN = Calibration(scale=1.0, other=0.0, doubt=0.0)
E = math.e


def heard(
    *rows: tuple[str, float], calibration: Calibration = PLAIN, highest: int = 99
) -> tuple[Candidate, ...]:
    hypotheses = [
        Hypothesis(tuple(Word(word, 0.0, 0.1) for word in text.split()), score)
        for text, score in rows
    ]
    return candidates(hypotheses, EnglishNumbers(), 0, highest, calibration)


def shares(found: tuple[Candidate, ...]) -> dict[int, float]:
    return {candidate.value: candidate.confidence for candidate in found}


def test_hypotheses_of_the_same_number_add_up() -> None:
    found = heard(("forty two", 0.0), ("forty three", -1.0), ("[unk] forty two", -1.0))
    assert shares(found) == pytest.approx({42: (E + 1) / (E + 2), 43: 1 / (E + 2)})
    assert found[0].words == "forty two"


def test_scale_and_doubt() -> None:
    calibration = Calibration(scale=0.5, other=0.0, doubt=0.01)
    found = heard(("five", 0.0), ("nine", -2.0), calibration=calibration)
    assert shares(found) == pytest.approx({5: 0.99 * E / (E + 1), 9: 0.99 / (E + 1)})


def test_only_hypotheses_without_a_number_word_are_raised() -> None:
    calibration = Calibration(scale=1.0, other=1.0, doubt=0.0)
    found = heard(("five", 0.0), ("[unk]", -1.0), calibration=calibration)
    assert shares(found) == pytest.approx({5: 0.5})
    run_on = heard(("[unk] thirty two", 0.0), ("eight thirty two", 0.0), calibration=calibration)
    assert shares(run_on) == pytest.approx({32: 0.5})


def test_digit_by_digit_is_rarer() -> None:
    found = heard(("forty two", 0.0), ("four three", 0.0))
    assert shares(found) == pytest.approx({42: 1 / (1 + E**-3), 43: E**-3 / (1 + E**-3)})


def test_a_number_beyond_the_range_does_not_count_as_one_in_it() -> None:
    assert heard(("one hundred and three", 0.0), ("[unk] three", -1.0)) == ()
    assert heard(("minus three", 0.0), ("three", -1.0)) == ()


def test_what_may_have_been_beyond_the_range_is_doubt() -> None:
    found = heard(("three", 0.0), ("one hundred and three", -1.0))
    assert shares(found) == pytest.approx({3: E / (E + 1)})


def test_a_weak_number_is_reported_a_very_weak_one_is_not() -> None:
    assert shares(heard(("[unk]", 0.0), ("five", -1.9))) == pytest.approx({5: 1 / (E**1.9 + 1)})
    assert heard(("[unk]", 0.0), ("five", -2.1)) == ()


def test_nothing_heard() -> None:
    assert heard() == ()
    assert heard(("", 0.0)) == ()


def test_whether_number_probability_was_said_beyond_the_range_or_in_it() -> None:
    rows = [("six hundred", 0.0), ("[unk]", -1.0), ("five", -1.0)]
    hypotheses = [
        Hypothesis(tuple(Word(word, 0.0, 0.1) for word in text.split()), score)
        for text, score in rows
    ]
    numbers = EnglishNumbers()
    assert number_probability(hypotheses, numbers, PLAIN) == pytest.approx((E + 1) / (E + 2))
    raised = Calibration(scale=1.0, other=1.0, doubt=0.0)
    assert number_probability(hypotheses, numbers, raised) == pytest.approx((E + 1) / (2 * E + 1))
    assert number_probability([], numbers, PLAIN) == 0
