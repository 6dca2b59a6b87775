"""Number names against an independent speller: ICU's rule-based spell-out (CLDR data), by icu4py.

What we speak comes from num2words; spellers.py compares the two and says what is set aside.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import oralquiz.speak
from oralquiz.speak.phrase_book import languages, phrases
from oralquiz.speak.reading import number_words
from tests.published.spellers import THREE_COLUMNS, TWO_HANDS, differences, plain, rows
from tests.sizes import size

pytestmark = pytest.mark.slow

DIFFERENT: dict[str, dict[int, tuple[str, str]]] = {
    # two names for zero: 영 in arithmetic, 공 when digits are read out
    "ko": {0: ("영", "공")},
    # written with accents when it is the number and not the article: it sounds the same
    "nl": {1: ("één", "een")},
}
"""Where the two differ in 0..99, ours and ICU's. All other languages agree there."""

WRONG_ABOVE_99 = {"it": 81, "nl": 9}
"""How many names of 100..999 differ. Italian: num2words elides "centodicotto" for "centodiciotto"
and leaves the accent off "tré"; Dutch: the accents of "één"."""


@pytest.mark.parametrize("language", languages())
def test_names_of_two_hands_are_icus(language: str) -> None:
    assert differences(phrases(language).numbers, TWO_HANDS) == DIFFERENT.get(language, {})


@pytest.mark.parametrize("language", languages())
def test_names_of_three_columns_are_icus_except_the_known_ones(language: str) -> None:
    found = differences(phrases(language).numbers, THREE_COLUMNS)
    assert len(found) == WRONG_ABOVE_99.get(language, 0)


@pytest.mark.parametrize("language", languages())
def test_no_two_numbers_sound_the_same(language: str) -> None:
    count = size(300, 1000)
    names = [plain(number_words(n, phrases(language).numbers), language) for n in range(count)]
    assert len(set(names)) == count


def test_the_table_of_all_shared_languages_is_what_the_two_spellers_say() -> None:
    table = Path(oralquiz.speak.__path__[0]) / "LANGUAGES.md"
    lines = rows()
    assert table.read_text(encoding="utf-8").splitlines()[-len(lines) :] == lines


def test_at_least_ten_languages_and_indian_english_are_offered() -> None:
    assert len(languages()) >= 10
    assert phrases("en_IN").numbers == "en_IN"
