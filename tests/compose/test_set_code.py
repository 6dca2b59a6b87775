"""A set as a short text, and back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import Sum
from oralquiz.compose.set_code import SetCode, decode, encode
from oralquiz.errors import BadInput

CODE = SetCode(2, 2.5, "five:+3", (Sum((34, 13, -22)), Sum((45, 11))))
TEXT = "OQ1*2*2.5*FIVE:+3*34+13-22/45+11"


def test_the_notation() -> None:
    assert encode(CODE) == TEXT
    assert decode(TEXT) == CODE


def test_it_is_packed_as_alphanumeric() -> None:
    # ISO/IEC 18004: the 45 characters of the alphanumeric mode
    assert set(encode(CODE)) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


terms = st.integers(-99_999, 99_999).filter(bool)
sums = st.lists(terms, min_size=1, max_size=20).map(lambda t: Sum(tuple(t)))


@given(
    st.integers(1, 9),
    st.integers(3, 600).map(lambda n: n / 10),
    st.sampled_from(["", "direct", "both:-9", "grade-1", "κανόνας"]),
    st.lists(sums, min_size=1, max_size=30),
)
def test_every_set_comes_back(columns: int, pace: float, step: str, chosen: list[Sum]) -> None:
    code = SetCode(columns, pace, step, tuple(chosen))
    assert decode(encode(code)) == code


def test_line_breaks_and_small_letters_do_no_harm() -> None:
    assert decode("oq1*2*2.5*five:+3*34+13\n -22/45+11 ") == CODE


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("hello", "is not the code of a set"),
        ("OQ1*2*2.5*34+13", "is not the code of a set"),
        ("OQ2*2*2.5*DIRECT*34+13", "kind 'OQ2' is newer than this program"),
        ("OQ1*0*2.5*DIRECT*34+13", "'0' columns"),
        ("OQ1*2*fast*DIRECT*34+13", "pace is 'fast'"),
        ("OQ1*2*0*DIRECT*34+13", "pace is '0'"),
        ("OQ1*2*2.5*DIRECT*34+x", "wanted"),
        ("OQ1*2*2.5*DIRECT*", "the sum is empty"),
    ],
)
def test_what_is_not_a_code_is_refused(text: str, problem: str) -> None:
    with pytest.raises(BadInput, match=problem):
        decode(text)


def test_a_star_in_the_step_is_refused() -> None:
    with pytest.raises(BadInput, match="must have no \\*"):
        encode(SetCode(2, 2.5, "my*step", CODE.sums))
