"""Composing for every step of the course, and saying honestly how many sums there are."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from oralquiz.beads import Sum, explain
from oralquiz.compose import Drill, Request, load_syllabus, request_for
from oralquiz.compose.composed import compose, count_sums, may_have_sums
from oralquiz.compose.relax import relaxations
from oralquiz.compose.sampler import Count, power_text
from oralquiz.errors import BadInput
from tests.compose.brute import every_sum
from tests.compose.requests import SMALL, rules

COURSE = load_syllabus()


@pytest.mark.parametrize("step", [step.name for step in COURSE.steps])
def test_sums_of_a_step_drill_its_rule_and_use_only_what_was_taught(step: str) -> None:
    composed = compose(request_for(COURSE, step), 20, seed=1)
    taught = COURSE.taught(step)
    assert len({s.terms for s in composed.sums}) == 20
    for terms in composed.sums:
        played = [move for term in explain(terms, columns=2) for move in term.moves]
        used = {move.rule for move in played}
        assert used <= taught, terms
        assert COURSE.step(step).drill[0] in used, terms
        assert len(terms.terms) == 5
        assert all(10 <= abs(term) <= 99 for term in terms.terms)


def test_the_same_seed_gives_the_same_sums_and_another_seed_others() -> None:
    request = request_for(COURSE, "five:+3")
    assert compose(request, 5, seed=2).sums == compose(request, 5, seed=2).sums
    assert compose(request, 5, seed=2).sums != compose(request, 5, seed=3).sums
    assert compose(request, 2, seed=2).sums[0] == Sum((27, 72, -55, -31, 13))


def test_all_sums_come_when_more_are_asked_for_than_there_are() -> None:
    request = SMALL["one drill"]
    composed = compose(request, 1000, seed=1)
    assert {s.terms for s in composed.sums} == set(every_sum(request))
    assert (composed.total, composed.exact) == (20, True)


def test_no_sums_is_an_exact_answer_on_any_frame() -> None:
    impossible = Drill(rules("five:-4"), 2)
    for columns in (1, 2, 3, 4):
        request = Request(columns=columns, terms=2, digits=(1, 1), drills=(impossible,))
        composed = compose(request, 3, seed=1)
        assert (composed.total, composed.exact, composed.sums) == (0, True, ())


def test_a_wide_frame_says_that_it_estimates() -> None:
    request = request_for(load_syllabus("bead-frame"), "four-columns")
    composed = compose(request, 5, seed=1)
    assert composed.total is None
    assert not composed.exact
    assert 0 < composed.count.error < 0.01
    assert composed.count.estimate > 1e15
    assert len(set(composed.sums)) == 5
    assert compose(request, 5, seed=1).sums == composed.sums


def test_few_sums_on_a_wide_frame_do_not_hang() -> None:
    request = Request(
        columns=4,
        terms=2,
        digits=(4, 4),
        allowed=rules("direct"),
        signs="++",
        answer=(3000, 3000),
    )
    composed = compose(request, 5, seed=1)
    assert {s.terms for s in composed.sums} == {(1000, 2000), (2000, 1000)}
    # 1000 + 1000 repeats its term, and nothing else makes 2000
    assert compose(replace(request, answer=(2000, 2000)), 5, seed=1).sums == ()


def test_counts_read_well() -> None:
    assert str(Count(1234, 1234.0)) == "1,234"
    assert str(Count(3 * 10**20, 3e20)) == "3.00 x 10^20"
    assert str(Count(None, 4.5e20, 0.0012)) == "about 4.50 x 10^20 (give or take 0.12%)"
    assert power_text(10**150) == "1.00 x 10^150"


@pytest.mark.parametrize(
    ("wanted", "problem"),
    [
        ({"columns": 7}, "1 to 5 columns, not 7"),
        ({"terms": 0}, "1 to 50 terms, not 0"),
        ({"digits": (3, 3)}, "a term of 3 digits does not fit a frame of 2 columns"),
        ({"signs": "++"}, "one \\+, - or \\? for each of the 5 terms"),
        ({"allowed": frozenset()}, "at least one allowed rule"),
    ],
)
def test_requests_that_make_no_sense_are_refused(wanted: dict[str, Any], problem: str) -> None:
    with pytest.raises(BadInput, match=problem):
        request_for(COURSE, "five:+3", **wanted)


def test_each_relaxation_alone_makes_sums_exist() -> None:
    request = request_for(COURSE, "both:-9", uses=3)
    assert count_sums(request).total == 0
    found = {each.constraint: each for each in relaxations(request)}
    assert found["drills"].sentence == "at least 2 of both:-9 is enough"
    assert found["terms"].sentence == "6 terms"
    assert {"below_zero", "columns"} <= set(found)
    for each in found.values():
        assert count_sums(each.request).total == each.count.total
        assert compose(each.request, 1, seed=1).sums


def test_relaxations_that_do_not_help_are_not_named() -> None:
    # 1 to 4 with direct moves only, the answer 9: 4 + 5 is the way, but the terms end at 4
    request = Request(columns=1, terms=1, digits=(1, 1), allowed=rules("direct"), answer=(10, 12))
    assert {each.constraint for each in relaxations(request)} == {"answer"}


def test_what_is_too_much_to_count_is_skipped(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a wide frame the table of a demanding request would be too large."""

    def narrow_only(request: Request) -> bool:
        if request.columns > 2:
            raise BadInput("this asks for too many things at once")
        return may_have_sums(request)

    monkeypatch.setattr("oralquiz.compose.relax.may_have_sums", narrow_only)
    found = {each.constraint for each in relaxations(request_for(COURSE, "both:-9", uses=3))}
    assert {"drills", "terms", "below_zero"} <= found
    assert "columns" not in found


def test_two_constraints_that_conflict_with_everything() -> None:
    request = Request(columns=1, terms=1, digits=(1, 1), minus=(1, 1), answer=(12, 12))
    assert relaxations(request) == ()


def test_may_have_sums_never_misses() -> None:
    for name, request in SMALL.items():
        assert may_have_sums(request) or count_sums(request).total == 0, name


@pytest.mark.parametrize(
    ("request_", "count", "seed", "first"),
    [
        (SMALL["two columns, drilled"], 25, 1, [(34, 33, -11), (94, -61, 33), (21, 23, 33)]),
        (
            request_for(COURSE, "ten:-7"),
            15,
            5,
            [(85, -50, -17, -18, 20), (85, -47, 11, 46, -37), (59, 19, -56, 23, -27)],
        ),
        (
            request_for(COURSE, "both:-9", uses=3, columns=3, digits=(1, 3)),
            30,
            1,
            [(684, -229, 89, -199, 242), (946, -699, -199, 396, -93), (268, 572, -196, -399, 482)],
        ),
        (
            Request(columns=4, terms=3, digits=(2, 4), minus=(1, 1), below_zero=True),
            20,
            3,
            [(7024, -2672, 4593), (5735, -1603, 4647), (5757, -6138, 3612)],
        ),
        (
            request_for(load_syllabus("bead-frame"), "four-columns"),
            15,
            5,
            [
                (3411, -705, 7075, -8091, 2772),
                (4396, -1311, 3700, 1099, -151),
                (6116, -1968, 1132, 3164, -677),
            ],
        ),
    ],
)
def test_a_seed_gives_the_sums_it_has_always_given(
    request_: Request, count: int, seed: int, first: list[tuple[int, ...]]
) -> None:
    """Written down before counting and drawing were split into two samplers."""
    composed = compose(request_, count, seed)
    assert [terms.terms for terms in composed.sums[:3]] == first
