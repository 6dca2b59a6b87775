"""Counting agrees with trying every sum, and with a different kind of algebra."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oralquiz.beads import ALL_RULES, DIRECT, Rule
from oralquiz.compose import Drill, Request
from oralquiz.compose.table import build_table, plan_for
from tests.compose.brute import every_sum
from tests.compose.requests import SMALL
from tests.sizes import size

pytestmark = pytest.mark.slow


def count(request: Request) -> int:
    return build_table(plan_for(request), for_drawing=False).total


LARGE = ("three columns", "two columns below zero", "left hand")


@pytest.mark.parametrize("name", [name for name in SMALL if size(name not in LARGE, True)])
def test_the_count_is_that_of_trying_every_sum(name: str) -> None:
    expected = sum(1 for _ in every_sum(SMALL[name]))
    assert count(SMALL[name]) == expected
    assert (expected == 0) == (name == "impossible")


def test_known_counts_by_hand() -> None:
    # one column, one term: 1 to 9; two terms from v = 1..9: 9 - v ways up and v ways down, of
    # which the repeat (v <= 4) and the cancelling pair are not wanted: 9 * 9 - 4 - 9
    assert count(Request(columns=1, terms=1, digits=(1, 1))) == 9
    two = Request(columns=1, terms=2, digits=(1, 1))
    assert count(two) == 9 * 9 - 4 - 9
    assert count(replace(two, repeats=True, cancels=True)) == 9 * 9


@st.composite
def small_requests(draw: st.DrawFn) -> Request:
    columns = draw(st.sampled_from([1, 1, 2]))
    terms = draw(st.integers(1, 4 if columns == 1 else 2))
    allowed = draw(st.sets(st.sampled_from(ALL_RULES), min_size=1)) | {DIRECT}
    drilled = draw(st.sets(st.sampled_from(ALL_RULES), min_size=1, max_size=3))
    drills = (Drill(frozenset(drilled), draw(st.integers(1, 2))),) if draw(st.booleans()) else ()
    low = draw(st.integers(0, terms))
    below_zero = draw(st.booleans())
    return Request(
        columns=columns,
        terms=terms,
        digits=(1, 1) if columns == 1 else draw(st.sampled_from([(1, 1), (1, 2)])),
        allowed=frozenset(allowed),
        drills=drills,
        minus=draw(st.none() | st.just((low, min(low + 1, terms)))),
        signs=draw(st.none() | st.text("+-?", min_size=terms, max_size=terms)),
        answer=draw(st.none() | st.just((1, 5))),
        repeats=draw(st.booleans()),
        cancels=draw(st.booleans()),
        first_plus=draw(st.booleans()),
        below_zero=below_zero,
    )


@settings(max_examples=size(25, 60), deadline=None)
@given(small_requests())
def test_any_small_request_is_counted_right(request: Request) -> None:
    assert count(request) == sum(1 for _ in every_sum(request))


def transfer_matrix(columns: int, digits: tuple[int, int]) -> list[list[int]]:
    """Ways from one total to another by one term: the adjacency matrix, in Python integers."""
    low, high = 10 ** (digits[0] - 1), 10 ** digits[1] - 1
    totals = range(10**columns)
    return [[int(low <= abs(a - b) <= high) for b in totals] for a in totals]


@pytest.mark.parametrize("terms", [3, 9, 20])
def test_twenty_terms_agree_with_a_matrix_power(terms: int) -> None:
    # all rules allowed, neighbours free: sums are walks, counted by powers of the matrix, here
    # with numpy's arbitrary-precision object integers
    matrix = np.array(transfer_matrix(2, (2, 2)), dtype=object)
    walks = np.zeros(100, dtype=object)
    walks[0] = 1
    for _ in range(terms):
        walks = walks @ matrix
    request = Request(columns=2, terms=terms, digits=(2, 2), repeats=True, cancels=True)
    assert count(request) == sum(walks)


def test_twenty_terms_without_repeats_agree_with_walks_over_pairs() -> None:
    # the state of this count is (total, term before): an honest 1-step memory, exact integers
    terms = [t for t in range(-9, 10) if t]
    ways = {(0, 0): 1}
    for _ in range(20):
        grown: dict[tuple[int, int], int] = {}
        for (total, before), number in ways.items():
            for term in terms:
                if 0 <= total + term <= 9 and term not in (before, -before):
                    key = (total + term, term)
                    grown[key] = grown.get(key, 0) + number
        ways = grown
    assert count(Request(columns=1, terms=20, digits=(1, 1))) == sum(ways.values())
    assert sum(ways.values()) > 2**50  # beyond one limb


def test_counts_split_by_the_number_of_minus_terms() -> None:
    request = Request(columns=2, terms=4, digits=(1, 2))
    parts = [count(replace(request, minus=(n, n))) for n in range(5)]
    assert sum(parts) == count(request)
    by_signs = [count(replace(request, signs="".join(s))) for s in product("+-", repeat=4)]
    assert sum(by_signs) == count(request)


def test_counts_split_by_the_answer() -> None:
    request = Request(columns=2, terms=4, digits=(2, 2), drills=(Drill(frozenset({DIRECT}), 3),))
    assert sum(count(replace(request, answer=(n, n))) for n in range(100)) == count(request)


def test_more_uses_of_a_drill_are_never_more_sums() -> None:
    rule = frozenset({Rule.parse("ten:+7")})
    counts = [
        count(Request(columns=2, terms=5, digits=(2, 2), drills=(Drill(rule, uses),)))
        for uses in range(1, 6)
    ]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[1] > 0
