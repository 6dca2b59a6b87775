"""Number names against an independent speller: ICU's rule-based spell-out (CLDR data), by icu4py.

What we speak comes from num2words. Spelling that makes no sound is set aside before comparing:
hyphens, soft hyphens, spaces, the kind of apostrophe, and the British "and" in English hundreds.
"""

from __future__ import annotations

import pytest
from icu4py.messageformat import MessageFormat
from num2words import num2words

from oralquiz.speak.phrases import languages, phrases
from oralquiz.speak.reading import number_words

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


def plain(name: str, language: str) -> str:
    name = name.lower().replace("\u00ad", "").replace("\u200c", "").replace("ʼ", "'")
    if language.startswith("en"):
        name = name.replace(" and ", " ")
    return name.replace("-", "").replace(" ", "")


def differences(language: str, numbers: range) -> dict[int, tuple[str, str]]:
    speller = MessageFormat("{n, spellout}", language)
    code = phrases(language).numbers
    found = {}
    for number in numbers:
        ours, icu = num2words(number, lang=code), speller.format({"n": number})
        if plain(ours, language) != plain(icu, language):
            found[number] = (ours, icu)
    return found


@pytest.mark.parametrize("language", languages())
def test_names_of_two_hands_are_icus(language: str) -> None:
    assert differences(language, range(100)) == DIFFERENT.get(language, {})


@pytest.mark.parametrize("language", languages())
def test_names_of_three_columns_are_icus_but_for_the_known_ones(language: str) -> None:
    assert len(differences(language, range(100, 1000))) == WRONG_ABOVE_99.get(language, 0)


@pytest.mark.parametrize("language", languages())
def test_no_two_numbers_sound_the_same(language: str) -> None:
    names = [plain(number_words(n, phrases(language).numbers), language) for n in range(1000)]
    assert len(set(names)) == 1000
