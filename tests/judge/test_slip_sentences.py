import re
from string import Formatter
from typing import Any

import pytest

from oralquiz.beads import Rule, Sum
from oralquiz.errors import BadInput
from oralquiz.judge.diagnosis import Diagnoser, diagnose
from oralquiz.judge.slip import SlipKind
from oralquiz.judge.slip_sentences import as_json, headline, languages, phrases, sentence
from tests.sizes import size


@pytest.mark.parametrize(
    ("text", "heard", "columns", "kind", "said"),
    [
        ("34 + 13", 42, 2, "five-not-moved",
         "At + 13, on the right hand: + 3 is + 5 − 2, and the thumb was not moved."),
        ("18 - 7", 6, 2, "five-not-moved",
         "At 18, on the right hand: + 8 is + 5 + 3, and the thumb was not moved."),
        ("21 + 5", 21, 2, "five-not-moved",
         "At + 5, on the right hand: + 5 is the thumb, and it was not moved."),
        ("34 + 13", 49, 2, "complement-missed",
         "At + 13, on the right hand: + 3 is + 5 − 2, and the − 2 was left out."),
        ("35 + 6", 40, 2, "complement-missed",
         "At + 6, on the right hand: + 6 is + 10 − 5 + 1, and the + 1 was left out."),
        ("35 + 6", 45, 2, "complement-missed",
         "At + 6, on the right hand: + 6 is + 10 − 5 + 1, and the − 5 + 1 was left out."),
        ("32 + 8", 44, 2, "complement-wrong-way",
         "At + 8, on the right hand: + 8 is + 10 − 2, but + 10 + 2 was played."),
        ("31 + 2", 38, 2, "five-moved-in-vain",
         "At + 2, on the right hand: besides + 2, the thumb was moved as well."),
        ("31 + 7", 36, 2, "ones-not-moved",
         "At + 7, on the right hand: + 7 is + 5 + 2, and only the thumb was moved."),
        ("31 + 2", 34, 2, "finger-too-many",
         "At + 2, on the right hand: one finger too many was moved for + 2."),
        ("131 + 13", 143, 3, "finger-too-few",
         "At + 13, in the ones: one bead too few was moved for + 3."),
        ("34 + 13", 48, 2, "complement-wrong-partner",
         "At + 13, on the right hand: + 3 is + 5 − 2, but + 5 − 1 was played."),
        ("33 + 8", 40, 2, "complement-wrong-partner",
         "At + 8, on the right hand: + 8 is + 10 − 2, but + 10 − 3 was played."),
        ("45 - 6", 38, 2, "complement-wrong-partner",
         "At − 6, on the right hand: − 6 is − 10 + 4, but − 10 + 3 was played."),
        ("35 + 6", 42, 2, "complement-wrong-partner",
         "At + 6, on the right hand: + 6 is + 10 − 5 + 1, but + 10 − 5 + 2 was played."),
        ("31 + 2", 43, 2, "ten-moved-in-vain",
         "At + 2, on the right hand: besides + 2, the left hand got 1."),
        ("31 + 2", 23, 2, "ten-moved-in-vain",
         "At + 2, on the right hand: besides + 2, 1 was taken from the left hand."),
        ("134 + 3", 147, 3, "ten-moved-in-vain",
         "At + 3, in the ones: + 3 is + 5 − 2, and the tens got 1 too many."),
        ("28 + 34", 52, 2, "carry-forgotten",
         "At + 34, on the right hand: + 4 is + 10 − 5 − 1, and the 1 for the left hand was "
         "forgotten."),
        ("62 - 34", 38, 2, "borrow-forgotten",
         "At − 34, on the right hand: − 4 is − 10 + 5 + 1, and the 1 from the left hand was "
         "forgotten."),
        ("128 + 34", 252, 3, "carry-wrong-column",
         "At + 34, in the ones: + 4 is + 10 − 5 − 1, and the 1 for the tens went to the "
         "hundreds."),
        ("62 - 34", 48, 2, "borrow-wrong-way",
         "At − 34, on the right hand: − 4 is − 10 + 5 + 1, and the left hand got 1 instead of "
         "giving 1."),
        ("48 + 4", 2, 2, "five-not-moved",  # the carried 1 meets four fingers
         "At + 4, when 1 was carried to the left hand: + 1 is + 5 − 4, and the thumb was not "
         "moved."),
        ("34 + 12", 44, 2, "column-left-out",
         "At + 12, on the right hand: the + 2 was left out."),
        ("34 - 12", 26, 2, "column-wrong-way",
         "At − 12, on the right hand: 2 was added instead of taken away."),
        ("34 + 12", 42, 2, "column-wrong-way",
         "At + 12, on the right hand: 2 was taken away instead of added."),
        ("20 + 7", 90, 2, "hands-swapped",
         "At + 7, on the right hand: the + 7 was played on the left hand."),
        ("51 + 23 + 12", 63, 2, "term-left-out", "+ 23 was left out."),
        ("51 + 23", 23, 2, "term-left-out", "51 was left out."),
        ("51 + 11", 73, 2, "term-doubled", "+ 11 was played twice."),
        ("13 + 11", 41, 2, "term-misheard", "13 was heard as 30."),
        ("50 - 13", 20, 2, "term-misheard", "− 13 was heard as − 30."),
        ("61 - 23", 84, 2, "sign-flipped", "− 23 was played as + 23."),
        ("21 + 24", 63, 2, "digits-reversed",
         "+ 24 was played as + 42: its digits changed places."),
        ("21 + 42", 36, 2, "answer-reversed",
         "63 was there at the end, and 36 was read from it: the digits changed places."),
    ],
)  # fmt: skip
def test_what_a_teacher_would_say(
    text: str, heard: int, columns: int, kind: str, said: str
) -> None:
    diagnosis = diagnose(Sum.parse(text), heard, columns)
    sentences = {
        sentence(explanation, diagnosis)
        for explanation in diagnosis.explanations
        if explanation.slips[0].kind == kind
    }
    assert said in sentences


def test_the_answer_before() -> None:
    diagnosis = diagnose(Sum.parse("34 + 13 - 22"), 52, previous=27)
    assert sentence(diagnosis.explanations[0], diagnosis) == (
        "The 27 of the sum before was still there at the start."
    )


def test_a_pair_is_two_sentences() -> None:
    diagnosis = diagnose(Sum.parse("34 + 13 - 22"), 77)
    assert all(len(explanation.slips) == 2 for explanation in diagnosis.explanations)
    assert sentence(diagnosis.explanations[0], diagnosis) == (
        "+ 13 was played as − 13. − 22 was played twice."
    )


def keys(table: dict[str, Any], path: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in table.items():
        found |= keys(value, f"{path}{key}.") if isinstance(value, dict) else {path + key: value}
    return found


def placeholders(text: str) -> set[str]:
    return {field for _, field, _, _ in Formatter().parse(text) if field}


@pytest.mark.parametrize("language", languages())
def test_every_language_has_the_same_phrases(language: str) -> None:
    english, other = keys(dict(phrases("en"))), keys(dict(phrases(language)))
    assert other["language.code"] == language
    assert other.keys() == english.keys()
    for key, text in english.items():
        if isinstance(text, list):
            assert len(other[key]) == len(text)
        elif not key.startswith("language."):
            # a language may do without a placeholder, but must not invent one
            assert placeholders(other[key]) <= placeholders(text), key


def test_every_kind_has_a_phrase() -> None:
    names = set(phrases("en")["slip"])
    without = {kind.value for kind in SlipKind} - names
    # worded as column-added or column-taken, ten-added or ten-taken
    assert without == {"column-wrong-way", "ten-moved-in-vain"}
    assert {"column-added", "column-taken"} <= names
    assert set(phrases("en")["name"]) == {kind.value for kind in SlipKind}


@pytest.mark.parametrize(
    ("kind", "rule", "said"),
    [
        ("five-not-moved", "five:+3", "the five is not moved, at + 3 = + 5 − 2"),
        ("carry-forgotten", "ten:+8", "the carried 1 is forgotten, at + 8 = + 10 − 2"),
        ("borrow-forgotten", "both:-7", "the borrowed 1 is forgotten, at − 7 = − 10 + 5 − 2"),
        ("five-not-moved", "direct", "the five is not moved, at moves whose beads are free"),
        ("term-left-out", None, "a term is left out"),
        (None, "five:-4", "slips of several kinds, at − 4 = − 5 + 1"),
    ],
)
def test_what_repeats_has_a_name(kind: str | None, rule: str | None, said: str) -> None:
    assert headline(SlipKind(kind) if kind else None, Rule.parse(rule) if rule else None) == said


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("columns", [2, 4])
def test_no_sentence_has_a_hole(language: str, columns: int) -> None:
    diagnoser = Diagnoser(columns)
    told = set()
    for text in ("34 + 13 - 22", "46 + 27 - 38", "18 + 50 - 19", "99 - 45 + 6", "40 - 6 + 25"):
        terms = Sum.parse(text)
        for heard in range(0, 100, size(2, 1)):
            diagnosis = diagnoser.diagnose(terms, heard, previous=35)
            for explanation in diagnosis.explanations[:20]:
                told |= {slip.kind for slip in explanation.slips}
                words = sentence(explanation, diagnosis, language)
                assert not re.search(r"[{}]|None|  ", words), words
    assert len(told) > 18


def test_json_names_everything_the_command_promises() -> None:
    found = as_json(diagnose(Sum.parse("34 + 13 - 22"), 20), most=1)
    assert found["answer"] == 25 and found["heard"] == 20 and not found["right"]
    (slip,) = found["slips"]
    assert (slip["slip"], slip["term"], slip["column"]) == ("five-not-moved", 1, 0)
    assert slip["rule"] == "five:+3" and slip["before"] == 44 and slip["error"] == -5
    assert slip["totals"] == [34, 42, 20] and slip["second"] is None
    assert found["explanations"] == 2
    assert found["kinds"][0]["slip"] == "five-not-moved"


def test_an_unknown_language_is_refused_and_the_known_ones_are_named() -> None:
    with pytest.raises(BadInput, match=r"no phrases in 'xx': there are de, en"):
        phrases("xx")
