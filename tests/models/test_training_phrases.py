"""The labels of the training speech: what is a number and what is not."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

SOURCE = Path(__file__).parents[2] / "models/train/synthesise/phrases.py"


@pytest.fixture(scope="module")
def phrases() -> ModuleType:
    spec = importlib.util.spec_from_file_location("training_phrases", SOURCE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("value", "joint", "one", "words"),
    [
        (0, "and", "one", "zero"),
        (13, "and", "one", "thirteen"),
        (40, "and", "one", "forty"),
        (99, "and", "one", "ninety nine"),
        (100, "and", "a", "a hundred"),
        (105, "and", "one", "one hundred and five"),
        (999, "", "one", "nine hundred ninety nine"),
        (1100, "and", "a", "a thousand one hundred"),
        (2007, "and", "one", "two thousand and seven"),
        (9999, "and", "one", "nine thousand nine hundred and ninety nine"),
    ],
)
def test_numbers_in_words(
    phrases: ModuleType, value: int, joint: str, one: str, words: str
) -> None:
    assert phrases.in_words(value, joint, one) == words


def test_labels_hold_what_is_said(phrases: ModuleType) -> None:
    rng = np.random.default_rng(5)
    said = phrases.plan(rng, 300, 300, 300, 60)
    assert len(said) == 960
    for phrase in said:
        heard = phrase.text.replace(",", "").lower().split()
        label = [w for w in phrase.words.split() if w != "[unk]"]
        assert set(label) <= phrases.NUMBER_WORDS
        if phrase.kind == "number":
            assert label == heard
        elif phrase.kind == "hesitation":
            assert [w for w in heard if w in label] == label and "[unk]" in phrase.words
        else:
            assert label == []


def test_no_word_of_other_speech_is_a_number_alone(phrases: ModuleType) -> None:
    alone = [t.lower() for t in (*phrases.NEAR, *phrases.EVERYDAY, *phrases.SENTENCES)]
    assert not set(alone) & (phrases.NUMBER_WORDS | {"won", "to", "too", "for", "ate", "owe"})
