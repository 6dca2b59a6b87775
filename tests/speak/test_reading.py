from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import Sum
from oralquiz.errors import BadInput
from oralquiz.speak.reading import Reading, number_words, term_texts

SUM = Sum((34, 13, -22))


@pytest.mark.parametrize(
    ("reading", "texts"),
    [
        (Reading(), ("thirty-four", "plus thirteen", "minus twenty-two")),
        (Reading(signs="add_take"), ("thirty-four", "add thirteen", "take away twenty-two")),
        (Reading(signs="minus_only"), ("thirty-four", "thirteen", "minus twenty-two")),
        (Reading(digit_by_digit=True), ("three four", "plus one three", "minus two two")),
        (Reading("de"), ("vierunddreißig", "plus dreizehn", "minus zweiundzwanzig")),
        (
            Reading("de", "add_take"),
            ("vierunddreißig", "dreizehn dazu", "zweiundzwanzig weg"),
        ),
        (Reading("ko"), ("삼십사", "더하기 십삼", "빼기 이십이")),
        (Reading("en-IN", "add_take"), ("thirty-four", "add thirteen", "less twenty-two")),
    ],
)
def test_terms_are_said_as_the_reading_asks(reading: Reading, texts: tuple[str, ...]) -> None:
    assert term_texts(SUM, reading) == texts


def test_a_sum_below_zero_begins_with_its_sign() -> None:
    assert term_texts(Sum((-5, 8)), Reading(signs="minus_only")) == ("minus five", "eight")


def test_an_unknown_style_is_refused() -> None:
    with pytest.raises(
        BadInput, match="'loud' is not a way to say signs: use plus_minus, add_take"
    ):
        term_texts(SUM, Reading(signs="loud"))


def test_a_language_without_number_words_is_refused() -> None:
    with pytest.raises(BadInput, match="no number words for the language 'tlh'"):
        number_words(3, "tlh")


@given(st.integers(0, 999_999_999))
def test_digit_by_digit_says_every_digit(number: int) -> None:
    names = "zero one two three four five six seven eight nine".split()
    said = number_words(number, "en", digit_by_digit=True).split()
    assert "".join(str(names.index(word)) for word in said) == str(number)
