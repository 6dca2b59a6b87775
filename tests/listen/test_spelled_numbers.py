"""Number words of other languages, by inverting num2words."""

from __future__ import annotations

import pytest

from oralquiz.errors import ModelError
from oralquiz.listen.language import Growth
from oralquiz.listen.spelled_numbers import SpelledNumbers


@pytest.mark.parametrize("language", ["ko", "de", "fr", "tr", "pl", "fi", "ru"])
def test_every_number_comes_back(language: str) -> None:
    numbers = SpelledNumbers(language, 0, 99)
    for value, words in numbers.spelling.items():
        assert numbers.value(words) == value
        assert numbers.value(words.capitalize().replace("-", " ")) == value


# Sino-Korean numerals: 4-10-2 is 42. From memory; any textbook has it.
KOREAN = {"사십이": 42, "사십 이": 42, "사 십 이": 42, "구십구": 99, "영": 0, "[unk] 사십 이": 42}


@pytest.mark.parametrize(("words", "value"), KOREAN.items())
def test_korean_in_whatever_pieces(words: str, value: int) -> None:
    assert SpelledNumbers("ko", 0, 99).value(words) == value


def test_what_is_not_a_number_of_the_range() -> None:
    numbers = SpelledNumbers("ko", 0, 99)
    assert numbers.value("백") is None
    assert numbers.value("이 이") is None
    assert numbers.value("") is None


def test_growth() -> None:
    numbers = SpelledNumbers("ko", 0, 99)
    assert numbers.growth("사십") is Growth.OPEN
    assert numbers.growth("사십 이") is Growth.CLOSED
    assert numbers.growth("") is Growth.OPEN


def test_phrases_use_the_words_the_model_has() -> None:
    vocabulary = {"영", "일", "이", "십", "이십", "이십일"}
    numbers = SpelledNumbers("ko", 20, 22)
    assert numbers.phrases(vocabulary.__contains__) == ["이십", "이십일", "이십 이"]


def test_a_word_the_model_lacks_is_named() -> None:
    with pytest.raises(ModelError, match="no words for 3 in language 'ko'"):
        SpelledNumbers("ko", 0, 9).phrases({"영", "일", "이"}.__contains__)


def test_an_unknown_language_is_refused() -> None:
    with pytest.raises(ModelError, match="no number words are known for language 'xx'"):
        SpelledNumbers("xx", 0, 9)


def test_too_many_numbers_are_refused() -> None:
    with pytest.raises(ModelError, match="too many to spell"):
        SpelledNumbers("ko", 0, 10**6)
