from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import ALL_RULES, Rule, Sum
from oralquiz.errors import BadInput

TERMS = st.lists(st.integers(-(10**9 - 1), 10**9 - 1).filter(bool), min_size=1, max_size=20)


@given(TERMS)
def test_a_sum_reads_back_as_it_is_written(terms: list[int]) -> None:
    written = str(Sum(tuple(terms)))
    assert Sum.parse(written) == Sum(tuple(terms))
    assert Sum.parse(written.replace(" ", "")) == Sum(tuple(terms))
    assert Sum.parse(written.replace("-", "−")) == Sum(tuple(terms))


@given(st.text(max_size=30))
def test_any_text_is_a_sum_or_one_clear_line(text: str) -> None:
    try:
        read = Sum.parse(text)
    except BadInput as error:
        assert "\n" not in str(error).replace(text, "")
    else:
        assert read.answer == sum(read.terms)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the sum is empty"),
        ("34 13", "wanted a sign and a number at character 4, not '13'"),
        ("34 +", "a number is missing after '+'"),
        ("34 + x", "at character 4"),
        ("12 + 0", "term 2 is 0"),
        ("1234567890", "more than 9 digits"),
        ("3.5 + 1", "at character 2, not '.5"),
    ],
)
def test_what_cannot_be_read_is_named(text: str, message: str) -> None:
    with pytest.raises(BadInput) as error:
        Sum.parse(text)
    assert message in str(error.value)


def test_answer_and_totals() -> None:
    terms = Sum.parse("34 + 13 - 22")
    assert (terms.answer, terms.totals) == (25, (34, 47, 25))


def test_every_rule_reads_back_by_its_name() -> None:
    assert [Rule.parse(rule.name) for rule in ALL_RULES] == list(ALL_RULES)
    # direct, 4 fives, 9 tens and 4 boths of each sign
    assert len(ALL_RULES) == 1 + 2 * (4 + 9 + 4)


@pytest.mark.parametrize("name", ["", "five", "five:3", "five:+5", "both:+5", "ten:+10", "six:+1"])
def test_what_is_not_a_rule_is_refused(name: str) -> None:
    with pytest.raises(BadInput):
        Rule.parse(name)
