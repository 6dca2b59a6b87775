"""Spoken words to values, against literal tables and against num2words (an independent speller on
PyPI)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from oralquiz.listen.language import Growth
from oralquiz.listen.languages.en import NUMBER_WORDS, EnglishNumbers, number_growth, parse_number
from tests.sizes import size

VALUES = {
    "zero": 0,
    "oh": 0,
    "nought": 0,
    "seven": 7,
    "nineteen": 19,
    "forty": 40,
    "forty two": 42,
    "Forty-Two.": 42,
    "a hundred": 100,
    "hundred and five": 105,
    "a hundred and five": 105,
    "one hundred five": 105,
    "a thousand and one": 1001,
    "nine thousand, nine hundred and ninety-nine": 9999,
    "twelve hundred": 1200,
    "four two": 42,
    "one oh five": 105,
    "oh five": 5,
    "minus five": -5,
    "minus zero": 0,
    "minus one hundred and twenty": -120,
    "it's a five": 5,
    "um forty two": 42,
    "forty um two": 42,
    "i think it is forty two": 42,
    "[unk] forty two": 42,
    "forty two [unk]": 42,
    "forty two, forty two": 42,
    "forty two no i mean forty five": 45,
    "six no seven": 7,
    "forty two [unk] a [unk]": 42,
}

NO_NUMBER = (
    "",
    "a",
    "and",
    "minus",
    "[unk]",
    "no",
    "twenty three four",
    "twenty zero",
    "forty five minus three",
    "forty two forty five",
    "two thousand and",
    "one thousand twelve hundred",
    "ten one",
)


@pytest.mark.parametrize(("words", "value"), VALUES.items())
def test_value(words: str, value: int) -> None:
    assert parse_number(words) == value


@pytest.mark.parametrize("words", NO_NUMBER)
def test_no_single_number(words: str) -> None:
    assert parse_number(words) is None


@pytest.mark.parametrize(
    ("words", "some"),
    [
        ("forty two", True), ("eight thirty two", True), ("[unk] hundred", True),
        ("", False), ("[unk]", False), ("a [unk]", False), ("minus", False), ("and", False),
    ],
)  # fmt: skip
def test_whether_there_is_some_number(words: str, some: bool) -> None:
    assert EnglishNumbers().has_number(words) is some


@pytest.mark.slow
def test_num2words_round_trip() -> None:
    for value in range(10_000):
        words = num2words(value)
        assert parse_number(words) == value
        assert parse_number(words.replace(" and ", " ")) == value
        assert parse_number("minus " + words) == -value


@given(st.integers(0, 9999))
def test_digit_by_digit(value: int) -> None:
    names = "zero one two three four five six seven eight nine".split()
    assert parse_number(" ".join(names[int(digit)] for digit in str(value))) == value


@given(st.integers(0, 9999), st.integers(0, 9999), st.sampled_from(["no", "[unk]", "no i mean"]))
def test_the_last_number_counts(first: int, last: int, between: str) -> None:
    assert parse_number(f"{num2words(first)} {between} {num2words(last)}") == last


@given(st.text() | st.lists(st.sampled_from([*NUMBER_WORDS, "no", "[unk]"])).map(" ".join))
def test_anything_may_be_heard(words: str) -> None:
    value = parse_number(words)
    assert value is None or isinstance(value, int)
    assert isinstance(number_growth(words, 0, 99), Growth)


GROWTH = {
    ("forty two", 99): Growth.CLOSED,
    ("forty", 99): Growth.OPEN,
    ("forty", 40): Growth.CLOSED,
    ("thirteen", 99): Growth.CLOSED,
    ("four", 99): Growth.DIGITS,
    ("four two", 99): Growth.CLOSED,
    ("four", 9): Growth.CLOSED,
    ("zero", 99): Growth.CLOSED,
    ("forty two", 999): Growth.CLOSED,
    ("two", 999): Growth.OPEN,
    ("two hundred", 999): Growth.OPEN,
    ("two hundred and six", 999): Growth.CLOSED,
    ("two hundred and six", 9999): Growth.CLOSED,
    ("minus forty", 99): Growth.CLOSED,
    ("[unk]", 99): Growth.OPEN,
    ("", 99): Growth.OPEN,
    ("forty two [unk]", 99): Growth.OPEN,
    ("forty two [unk] forty five", 99): Growth.CLOSED,
}


@pytest.mark.parametrize(("heard", "growth"), GROWTH.items())
def test_growth(heard: tuple[str, int], growth: Growth) -> None:
    words, highest = heard
    assert number_growth(words, 0, highest) is growth


def test_negative_numbers_grow_downwards() -> None:
    assert number_growth("minus forty", -99, 99) is Growth.OPEN
    assert number_growth("minus forty two", -99, 99) is Growth.CLOSED


@pytest.mark.slow
@pytest.mark.parametrize("highest", [9, 20, 45, 99, 120, 999, *size([], [2500]), 9999])
def test_growth_knows_every_usual_longer_number(highest: int) -> None:
    """Against all numbers of the range as num2words spells them: the beginning of one is OPEN."""
    spelled = {value: num2words(value).replace("-", " ").split() for value in range(highest + 1)}
    begun = {" ".join(words[:k]) for words in spelled.values() for k in range(1, len(words))}
    for words in spelled.values():
        said = " ".join(words)
        growth = number_growth(said, 0, highest)
        if said in begun:
            assert growth is Growth.OPEN, said
        elif growth is Growth.OPEN:  # only by "forty two hundred", which num2words never says
            assert 100 * (parse_number(said) or 0) <= highest, said


@pytest.mark.parametrize(
    ("words", "more"),
    [("six hundred and", True), ("minus", True), ("[unk]", False), ("two", False), ("", False)],
)
def test_words_that_a_number_must_follow(words: str, more: bool) -> None:
    assert EnglishNumbers().expects_more(words) is more


@pytest.mark.parametrize(
    ("words", "digits"),
    [("four two", True), ("one oh five", True), ("forty two", False), ("four", False), ("", False)],
)
def test_digit_by_digit_or_whole(words: str, digits: bool) -> None:
    assert EnglishNumbers().digit_by_digit(words) is digits


def test_what_may_still_come_depends_on_the_range() -> None:
    assert EnglishNumbers(0, 99).growth("forty") is Growth.OPEN
    assert EnglishNumbers(0, 40).growth("forty") is Growth.CLOSED
    assert EnglishNumbers(-99, 9).growth("minus forty") is Growth.OPEN
