from __future__ import annotations

from pathlib import Path

import pytest

from oralquiz.errors import BadInput
from oralquiz.folders import data_folder
from oralquiz.speak.phrase_book import STYLES, languages, own_table, phrases


def test_every_language_of_the_table_is_complete() -> None:
    assert len(languages()) >= 12
    for language in languages():
        row = phrases(language)
        for style in STYLES:
            added, taken = row.signs(style)
            assert added != taken
            assert added.format(n="7") != added


def test_a_language_tag_may_be_written_with_a_hyphen() -> None:
    assert phrases("en-IN") == phrases("en_IN")


def test_an_unknown_language_names_the_known_ones() -> None:
    with pytest.raises(BadInput, match=r"'xx': there are .*de, en, en_IN"):
        phrases("xx")


def test_a_teachers_own_words_win_and_the_rest_stays(tmp_path: Path) -> None:
    table = tmp_path / "mine.toml"
    table.write_text('[en]\nclosing = "your answer"\nadd_take = ["and {n}", "off {n}"]\n')
    row = phrases("en", table)
    assert row.closing == "your answer"
    assert row.signs("add_take") == ("and {n}", "off {n}")
    assert row.signs("plus_minus") == ("plus {n}", "minus {n}")


def test_a_teachers_own_table_is_found_in_its_place() -> None:
    assert own_table() == data_folder() / "phrases.toml"
    own_table().parent.mkdir(parents=True, exist_ok=True)
    own_table().write_text('[en]\nlead_in = "here we go"\n')
    try:
        assert phrases("en").lead_in == "here we go"
    finally:
        own_table().unlink()
    assert phrases("en").lead_in == "listen"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[en\n", "not a table of phrases"),
        ("[en]\nclosing = 5\n", r"\[en\] closing must be text"),
        ('[en]\nplus_minus = ["plus {n}"]\n', r"\[en\] plus_minus must be two texts"),
        ('[en]\nplus_minus = ["plus", "minus {n}"]\n', r"\[en\] plus_minus must be two texts"),
        ('[en]\ncount_in = "one"\n', r"\[en\] count_in must be a list"),
        ('[en]\nplusminus = "x"\n', r"\[en\] has no such key: plusminus"),
    ],
)
def test_a_broken_table_is_named_with_what_is_wrong(
    tmp_path: Path, text: str, message: str
) -> None:
    table = tmp_path / "mine.toml"
    table.write_text(text)
    with pytest.raises(BadInput, match=message) as trouble:
        phrases("en", table)
    assert str(table) in str(trouble.value)
    assert "\n" not in str(trouble.value)


def test_a_table_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"none\.toml: cannot be read"):
        phrases("en", tmp_path / "none.toml")


def test_a_number_too_long_to_read_is_refused_in_a_line(tmp_path: Path) -> None:
    table = tmp_path / "phrases.toml"
    table.write_text("[en]\nready = " + "9" * 5_000, "utf-8")
    with pytest.raises(BadInput, match="a number is too long"):
        phrases("en", table)
