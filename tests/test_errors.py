from __future__ import annotations

import pytest

from oralquiz.errors import excerpt


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("34 + x", "'34 + x'"),
        ("two\nlines", "'two lines'"),
        ("x" * 61, f"'{'x' * 60}…'"),
        (f"1{' ' * 1000}2", "'1…'"),
        (12, "12"),
        ([1, 2], "[1, 2]"),
        pytest.param(10**5000, "a number with too many digits", id="5001 digits"),
        pytest.param([10**5000], "a number with too many digits", id="in a list"),
    ],
)
def test_an_excerpt_is_short_and_on_one_line(given: object, shown: str) -> None:
    assert excerpt(given) == shown
