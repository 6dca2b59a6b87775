"""Languages: one module each, or whatever num2words spells."""

from __future__ import annotations

import pytest

from oralquiz.errors import ModelError
from oralquiz.listen.language import find_language


def test_english_has_its_sounds_and_prompts() -> None:
    english = find_language("en")
    assert english.numbers(0, 99).value("um forty two") == 42
    assert "um" in english.fillers
    assert english.sound_alike(13) == 30
    assert english.ask_again == "once more, please"


def test_korean_is_a_module_too() -> None:
    korean = find_language("ko")
    assert korean.numbers(0, 99).value("사십 이") == 42
    assert korean.sound_alike(13) is None
    assert korean.ask_again


def test_a_language_without_a_module_has_the_numbers_that_num2words_spells() -> None:
    german = find_language("de")
    assert german.code == "de"
    assert german.numbers(0, 99).value("zweiundvierzig") == 42
    assert german.ask_again == ""


@pytest.mark.parametrize("code", ["xx", "../en", "en.x", "", "E N"])
def test_what_is_not_a_language_is_refused_in_one_line(code: str) -> None:
    with pytest.raises(ModelError, match="no number words are known for language"):
        find_language(code).numbers(0, 9)
