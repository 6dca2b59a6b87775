"""The phrase tables are complete, and their sentences can be read by a child of seven."""

from __future__ import annotations

import io
import re
import string
from dataclasses import replace
from typing import Any

import pytest
from rich.console import Console

from oralquiz.beads import MoveOrder, Sum
from oralquiz.beads.columns import MAX_COLUMNS
from oralquiz.errors import BadInput
from oralquiz.judge.slip import SlipKind
from oralquiz.judge.verdict import Verdict
from oralquiz.replay import page
from oralquiz.replay.step_words import (
    StepPhrases,
    Words,
    form_for,
    languages,
    phrases,
    signed,
    spoken,
    term_written,
    words,
    written,
)
from oralquiz.replay.story import tell
from oralquiz.replay.terminal import TerminalReplay, printed
from oralquiz.replay.turn_story import tell_turns
from oralquiz.rounds.progress import Correction
from tests.replay.made import made
from tests.replay.test_spoken_steps import Beeper


def placeholders(text: str) -> list[str]:
    return sorted(name for _, name, _, _ in string.Formatter().parse(text) if name)


def shape(value: Any) -> Any:
    """A table without its words: keys, lengths of lists, placeholders."""
    if isinstance(value, dict):
        return {key: shape(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [placeholders(text) for text in value]
    return placeholders(value)


def test_there_are_english_and_german() -> None:
    assert languages() == ("de", "en")


@pytest.mark.parametrize("language", languages())
def test_every_language_has_every_phrase_with_the_same_placeholders(language: str) -> None:
    assert shape(phrases(language).tables) == shape(phrases("en").tables)
    assert phrases(language).tables["language"]["code"] == language


@pytest.mark.parametrize("language", languages())
def test_a_table_names_every_column_verdict_and_slip(language: str) -> None:
    tables = phrases(language).tables
    for key in ("column", "on", "from"):
        assert len(tables["hands"][key]) == 2
        assert len(tables["frame"][key]) == MAX_COLUMNS
    for form in ("hands", "frame"):
        assert len(tables[form]["ones_in"]) == len(tables[form]["ones_out"]) == 4
    assert {kind.value for kind in SlipKind} <= set(tables["slip"])
    assert {verdict.value for verdict in Verdict} <= set(tables["verdict"])


class Noted(dict[str, Any]):
    """A table that notes which of its phrases were asked for."""

    def __init__(self, name: str, table: dict[str, Any], asked: set[str]) -> None:
        super().__init__(table)
        self._name, self._asked = name, asked

    def __getitem__(self, key: str) -> Any:
        self._asked.add(f"{self._name}.{key}")
        return super().__getitem__(key)


def test_every_phrase_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages and terminal together ask for every phrase, except those for the rarer kinds of
    slips."""
    asked: set[str] = set()
    tables = phrases("en").tables
    noted = StepPhrases("en", {name: Noted(name, dict(t), asked) for name, t in tables.items()})
    monkeypatch.setattr(page, "phrases", lambda language: noted)
    told = ["34 + 13 - 22 + 9 - 8", "58 - 54", "7 - 3 + 1 + 4 - 4", "67 + 2"]
    for columns, sums in {2: told, 4: [*told, "999 + 1 - 4", "4000 - 1"]}.items():
        answers: list[int | None] = [13 for _ in sums]
        answers[1] = None
        session = made(sums, answers, columns=columns, damage="cut short")
        turn = replace(
            session.turns[0],
            corrections=(Correction(Verdict.RIGHT, 26, "teacher", "2026-01-05"),),
        )
        unclear = replace(
            session.turns[2],
            attempts=(replace(session.turns[2].attempts[0], verdict=Verdict.UNCLEAR),),
        )
        cut = replace(session.turns[3], attempts=(), terms=())
        unheard, typed = session.turns[0].attempts[0], replace(session.turns[3].attempts[0])
        words = replace(unclear, attempts=(replace(unheard, verdict=Verdict.UNCLEAR, value=None),))
        hand = replace(session.turns[3], attempts=(replace(typed, typed=True),))
        turns = (turn, session.turns[1], unclear, words, hand, cut, *session.turns[4:])
        session = replace(session, turns=turns)
        page.build_page(session, voice=Beeper())
        page.build_page(replace(session, audio=session.audio[:0], turns=()))
        two = made(["34 + 13 - 22", "67 + 2"], [91, 41], columns=columns)
        page.build_page(two)
        stage = TerminalReplay(
            tell_turns(two, two.turns), MoveOrder.FIVE_FIRST, columns, noted, "utf-8"
        )
        Console(file=io.StringIO()).print(printed(stage))
    every = {f"{name}.{key}" for name, table in tables.items() for key in table}
    rare = {f"slip.{kind.value}" for kind in SlipKind}
    by_others = {"language.code", "language.name", *(f"terminal.{k}" for k in tables["terminal"])}
    assert every - asked - rare - by_others == set()


@pytest.mark.parametrize("language", languages())
def test_no_phrase_is_empty_or_left_in_english(language: str) -> None:
    english = phrases("en").tables
    for name, table in phrases(language).tables.items():
        for key, value in table.items():
            for n, text in enumerate(value if isinstance(value, list) else [value]):
                assert text.strip()
                if language != "en" and len(text.split()) > 2 and not text.startswith("{"):
                    same = english[name][key]
                    assert text != (same[n] if isinstance(same, list) else same), key


def test_an_unknown_language_is_refused_and_the_known_ones_are_named() -> None:
    with pytest.raises(BadInput, match=r"'xx': there are de, en"):
        phrases("xx")


def said(text: str, columns: int = 2, language: str = "en") -> list[Words]:
    story = tell(Sum.parse(text), columns)
    return [words(step, form_for(columns), phrases(language)) for step in story.steps]


def plain(words: Words) -> tuple[str, str, str]:
    return (
        words.where,
        words.why.replace("\xa0", " "),
        words.do,
    )


@pytest.mark.parametrize(
    ("text", "step", "expected"),
    [
        ("2 + 1", 1, ("right hand", "1 more: there is room.", "1 finger up.")),
        ("2 + 5", 1, ("right hand", "5 more: there is room.", "Thumb up.")),
        ("2 + 7", 1, ("right hand", "7 more: there is room.", "Thumb up and 2 fingers up.")),
        ("8 - 7", 1, ("right hand", "7 less: there is enough.", "Thumb down and 2 fingers down.")),
        (
            "34 + 13",
            3,
            (
                "right hand",
                "3 more: not enough fingers, so + 5 and − 2.",
                "Thumb up, then 2 fingers down.",
            ),
        ),
        (
            "7 + 6",
            1,
            (
                "right hand",
                "6 more: too full here. So − 4 here, and + 1 on the left hand. "
                "For − 4: not enough fingers, so − 5 and + 1.",
                "Thumb down, then 1 finger up.",
            ),
        ),
        (
            "7 + 6",
            2,
            ("left hand", "1 comes over from the right hand: 1 more.", "1 finger up."),
        ),
        (
            "12 - 9",
            2,
            (
                "left hand",
                "9 less: not enough on the right hand. "
                "Take 1 from the left hand: next door it is worth 10.",
                "1 finger down.",
            ),
        ),
        (
            "12 - 9",
            3,
            ("right hand", "10 came, only 9 must go. So + 1 here.", "1 finger up."),
        ),
    ],
)
def test_a_move_in_words(text: str, step: int, expected: tuple[str, str, str]) -> None:
    assert plain(said(text)[step]) == expected


def test_a_borrow_from_afar_in_words() -> None:
    assert plain(said("100 - 1", 3)[1]) == (
        "hundreds",
        "1 less: not enough in the ones. Nothing in the tens: look further left. "
        "Take 1 from the hundreds: next door it is worth 10.",
        "1 bead down.",
    )


def test_a_carry_through_a_full_column_in_words() -> None:
    assert plain(said("99 + 1", 3)[3]) == (
        "tens",
        "1 comes over from the ones. Too full here too! So − 9 here, and + 1 in the hundreds.",
        "Five up and 4 beads down.",
    )


def test_signs_are_read_out_as_words() -> None:
    step = said("34 + 13")[3]
    assert spoken(step.why, phrases("en")) == "3 more: not enough fingers, so plus 5 and minus 2."
    german = said("34 + 13", language="de")[3]
    assert spoken(german.why, phrases("de")) == "3 dazu: zu wenig Finger, also plus 5 und minus 2."


def test_numbers_are_written_with_real_minus_signs_that_do_not_break() -> None:
    assert signed(5) == "+\xa05"
    assert signed(-12) == "\u2212\xa012"
    assert written((34, 13, -22)) == "34 +\xa013 \u2212\xa022"
    assert [term_written((34, -22), n) for n in (0, 1)] == ["34", "\u2212\xa022"]
    assert phrases("de").decimal(1.24) == "1,2"
    assert phrases("en").decimal(2.0) == "2"


def syllables(word: str) -> int:
    """Groups of vowels, a silent last e not counted: the usual estimate."""
    groups = re.findall(r"[aeiouy]+", word.lower().removesuffix("e"))
    return max(1, len(groups))


def test_every_rule_reads_at_the_level_of_a_seven_year_old() -> None:
    """Flesch-Kincaid grade (Kincaid et al. 1975): 0.39 words/sentence + 11.8 syllables/word -
    15.59. A child of seven is in grade 1 or 2. Measured over every move of two hands and three
    columns."""
    sentences: set[str] = set()
    for columns, texts in {
        2: [f"{a} + {b}" for a in range(1, 99) for b in range(1, 100 - a)],
        3: ["99 + 1", "100 - 1", "999 - 555", "445 + 554", "100 - 96", "345 + 276"],
    }.items():
        for text in texts[:: 7 if columns == 2 else 1]:
            for step in said(text, columns):
                for line in (step.why, step.do):
                    sentences.update(re.findall(r"[^.!:]+", spoken(line, phrases("en"))))
    told = [re.findall(r"[a-z0-9]+", s.lower()) for s in sentences]
    told = [words for words in told if words]
    count = sum(len(words) for words in told)
    spoken_syllables = sum(syllables(word) for words in told for word in words)
    grade = 0.39 * count / len(told) + 11.8 * spoken_syllables / count - 15.59
    assert len(told) > 50
    assert grade <= 2.0
    assert max(len(words) for words in told) <= 12
