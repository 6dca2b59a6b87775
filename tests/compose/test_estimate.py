"""The column-by-column count agrees with the exact table, and draws as fairly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chisquare

from oralquiz.beads import play_term
from oralquiz.beads.sums import Sum, check_fits
from oralquiz.compose import Drill, Request
from oralquiz.compose.column_table import build_column_table
from oralquiz.compose.estimate import Estimate
from oralquiz.compose.sum_check import check_sum
from oralquiz.compose.table import build_table, plan_for
from oralquiz.errors import BadInput
from tests.compose.brute import every_sum
from tests.compose.requests import SMALL, rules
from tests.sizes import size

pytestmark = pytest.mark.slow


def exact(request: Request) -> int:
    return build_table(plan_for(request), for_drawing=False).total


@pytest.mark.parametrize("name", SMALL)
def test_with_neighbours_free_it_is_the_exact_count(name: str) -> None:
    request = replace(SMALL[name], repeats=True, cancels=True)
    assert build_column_table(request).count_with_neighbours == exact(request)


THREE_COLUMNS = [
    Request(columns=3, terms=4, digits=(1, 3), digits_in_all=9, allowed=rules("direct")),
    Request(columns=3, terms=5, digits=(2, 3), minus=(1, 3), answer=(100, 200)),
    Request(columns=3, terms=6, digits=(1, 3), drills=(Drill(rules("both:-7"), 2),)),
]


@pytest.mark.parametrize("request_", size(THREE_COLUMNS[:1], THREE_COLUMNS))
def test_three_columns_agree_with_the_exact_table(request_: Request) -> None:
    table = build_column_table(request_)
    count = Estimate(table).count()
    free = exact(replace(request_, repeats=True, cancels=True))
    assert table.count_with_neighbours == pytest.approx(free, rel=1e-12)
    # the sample's seed is fixed; twice the 95 % interval is a fair bar
    assert count.estimate == pytest.approx(exact(request_), rel=2 * count.error)
    assert count.error < 0.02


KINDS = ["one column", "digits in all", "minus first", "answer zero"]


@pytest.mark.parametrize("name", size(KINDS[:2], KINDS))
def test_every_sum_is_as_likely_as_any_other(name: str) -> None:
    request = SMALL[name]
    expected = list(every_sum(request))
    sampler = Estimate(build_column_table(request))
    kept = sampler.draw(14 * len(expected), np.random.default_rng(2))
    index = {terms: at for at, terms in enumerate(expected)}
    counts = np.bincount([index[tuple(terms)] for terms in kept.tolist()], minlength=len(expected))
    assert chisquare(counts).pvalue > 1e-4


def test_five_columns_keep_to_the_request() -> None:
    request = Request(
        columns=5,
        terms=6,
        digits=(3, 5),
        allowed=rules("direct", "five:+1", "five:+2", "ten:+9", "ten:+1"),
        drills=(Drill(rules("ten:+1"), 2),),
        minus=(1, 2),
    )
    drawn = Estimate(build_column_table(request)).draw(40, np.random.default_rng(3))
    assert len(drawn) > 30
    for terms in drawn.tolist():
        assert check_sum(terms, request) == []
        check_fits(Sum(tuple(terms)), 5)
        for total, term in zip(np.cumsum([0, *terms]).tolist(), terms, strict=False):
            assert {m.rule for m in play_term(total, term).moves} <= request.allowed


def test_too_much_at_once_is_refused() -> None:
    request = Request(columns=5, terms=30, digits=(5, 5), minus=(10, 20))
    with pytest.raises(BadInput, match="too many things at once on 5 columns"):
        build_column_table(request)
