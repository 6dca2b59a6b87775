"""What is wrong with a sum, in words; and agreement with the composer on which sums are right."""

from __future__ import annotations

import random
from itertools import product

import pytest

from oralquiz.compose import Drill, Request
from oralquiz.compose.sum_check import check_sum, drill_uses
from tests.compose.brute import every_sum
from tests.compose.requests import SMALL, rules
from tests.sizes import size

pytestmark = pytest.mark.slow

LESSON = Request(
    columns=2,
    terms=3,
    digits=(2, 2),
    allowed=rules("direct", "five:+4", "five:+3"),
    drills=(Drill(rules("five:+3")),),
)


@pytest.mark.parametrize(
    ("terms", "expected"),
    [
        ((23, 31, 15), []),
        (
            (12, 11, 21),
            ["never uses five:+3"],
        ),
        (
            (34, 13, 55),
            ["term 3 (+55) leaves the frame: 47 + 55 = 102 is over 99"],
        ),
        ((34, 13, -60), ["term 3 (-60) leaves the frame: 47 - 60 = -13 is below zero"]),
        (
            (42, 39, 15),
            [
                "term 2 (+39) uses ten:+9, not taught yet",
            ],
        ),
        (
            (23, 31),
            ["has 2 terms, wanted 3"],
        ),
        (
            (23, 31, 5),
            ["term 3 (+5) has 1 digit, wanted 2"],
        ),
        (
            (13, 31, -31),
            [
                "never uses five:+3",
                "term 3 (-31) cancels the term before it",
            ],
        ),
    ],
)
def test_each_misfit_is_named(terms: tuple[int, ...], expected: list[str]) -> None:
    assert check_sum(terms, LESSON) == expected


@pytest.mark.parametrize(
    "name",
    [
        name
        for name, request in SMALL.items()
        if request.columns == 1 and request.terms <= 4 and request.digits == (1, 1)
    ],
)
def test_a_sum_without_misfits_is_exactly_one_that_is_counted(name: str) -> None:
    request = SMALL[name]
    expected = set(every_sum(request))
    count = size(700, 2000)
    assert not any(check_sum(terms, request) for terms in list(expected)[:count])
    everything = list(product([t for t in range(-9, 10) if t], repeat=request.terms))
    for terms in random.Random(1).sample(everything, min(len(everything), count)):
        assert (not check_sum(terms, request)) == (terms in expected)


def test_uses_in_one_place() -> None:
    drill = Drill(rules("five:+3"))
    assert drill_uses((24, 33), 2, drill) == 2
    assert drill_uses((24, 33), 2, Drill(drill.rules, column=0)) == 1
    assert drill_uses((24, 33), 2, Drill(drill.rules, column=1, shown=2)) == 1
    assert drill_uses((24, 33), 2, Drill(drill.rules, shown=3)) == 0
