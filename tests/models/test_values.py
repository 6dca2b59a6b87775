"""Words to numbers, as the evaluation reads them."""

from importlib import import_module

import pytest


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("forty two", 42),
        ("four two", 42),
        ("oh", 0),
        ("nought", 0),
        ("one hundred and five", 105),
        ("a hundred", 100),
        ("hundred and one", 101),
        ("one oh five", 105),
        ("two thousand three hundred and four", 2304),
        ("minus forty two", -42),
        ("[unk] forty two", 42),
        ("forty two [unk] forty five", 45),
        ("forty two forty five", 45),
        ("forty [unk]", 40),
        ("nineteen twelve", 12),
        ("[unk]", None),
        ("minus", None),
        ("", None),
    ],
)
def test_the_last_number_counts(words: str, value: int | None) -> None:
    assert import_module("values").value_of(words.split()) == value
