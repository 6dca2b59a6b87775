from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.judge.verdict import (
    PRACTICE,
    TEST,
    Next,
    Policy,
    Verdict,
    decide,
    judge,
    probability_right,
)
from oralquiz.listen.hearing import Candidate, Hearing
from oralquiz.listen.posterior import Calibration


def heard(*candidates: tuple[int, float], onset: float | None = 0.5) -> Hearing:
    return Hearing(
        tuple(Candidate(value, str(value), confidence) for value, confidence in candidates),
        "",
        onset,
        None if onset is None else onset + 0.5,
    )


SILENCE = heard(onset=None)
COUGH = heard()


@pytest.mark.parametrize(
    ("hearing", "practice", "test"),
    [
        (SILENCE, "silent", "silent"),
        (COUGH, "unclear", "unclear"),  # a voice without a number
        (heard((25, 0.9995)), "right", "right"),
        (heard((25, 0.99)), "right", "right"),
        (heard((25, 0.97)), "right", "unclear"),
        (heard((25, 0.84), (26, 0.16)), "right", "unclear"),  # 20 x 0.84 : 0.16 is over 99 %
        (heard((25, 0.83), (26, 0.17)), "unclear", "unclear"),
        (heard((25, 0.6), (26, 0.4)), "unclear", "unclear"),
        (heard((26, 0.6), (25, 0.4)), "unclear", "unclear"),
        (heard((26, 0.998), (25, 0.002)), "unclear", "unclear"),  # 20 x 0.002 : 1 is 4 %
        (heard((26, 0.999), (25, 0.0004)), "wrong", "wrong"),
        (heard((26, 0.9995)), "wrong", "wrong"),
        (heard((26, 0.92)), "wrong", "unclear"),  # perhaps no number at all
        (heard((26, 0.89)), "unclear", "unclear"),
        # torn between two wrong numbers: wrong either way, but the strict one wants to know which
        (heard((26, 0.5), (27, 0.4995)), "wrong", "unclear"),
        # it could have been anything, even a number that is not listed
        (heard(*((v, 0.0999) for v in range(30, 40))), "unclear", "unclear"),
        # most likely no number at all: nobody is wronged for a cough
        (heard((26, 0.4)), "unclear", "unclear"),
    ],
)
def test_the_probability_decides(hearing: Hearing, practice: str, test: str) -> None:
    assert judge(hearing, 25, PRACTICE) == practice
    assert judge(hearing, 25, TEST) == test


@pytest.mark.parametrize(
    ("candidates", "verdict"),
    [
        (((13, 0.993), (30, 0.006)), "unclear"),  # close, and the two sound alike
        (((30, 0.993), (13, 0.006)), "unclear"),
        (((13, 0.993), (30, 0.001)), "right"),  # alike, but far
        (((30, 0.9985), (13, 0.0001)), "wrong"),
        (((13, 0.993), (31, 0.006)), "right"),  # close, but not alike
        (((15, 0.993), (50, 0.006)), "wrong"),  # alike and close, but both wrong
    ],
)
def test_thirteen_and_thirty(candidates: tuple[tuple[int, float], ...], verdict: str) -> None:
    assert judge(heard(*candidates), 13) == verdict


def test_in_a_range_without_thirty_thirteen_has_no_double() -> None:
    # the recogniser of a range up to 20 never guesses 30
    assert judge(heard((13, 0.993), (14, 0.006)), 13) == "right"


def test_policies_name_their_costs_in_askings() -> None:
    assert PRACTICE.cost_of_wronging == pytest.approx(100)
    assert TEST.cost_of_passing == pytest.approx(200)
    with pytest.raises(ValueError, match="upside-down"):
        Policy("upside-down", right_from=0.1, wrong_to=0.9)


guess_lists = st.lists(
    st.tuples(st.integers(0, 99), st.floats(0, 1)), max_size=5, unique_by=lambda g: g[0]
)


@given(guess_lists, st.integers(0, 99), st.sampled_from([PRACTICE, TEST]))
def test_never_certain_against_the_probability(
    candidates: list[tuple[int, float]], answer: int, policy: Policy
) -> None:
    total = sum(confidence for _, confidence in candidates) or 1.0
    shares = sorted(((v, c / max(total, 1.0)) for v, c in candidates), key=lambda g: -g[1])
    hearing = heard(*shares)
    verdict = judge(hearing, answer, policy)
    probability = probability_right(hearing, answer, policy)
    assert 0 <= probability <= 1
    if verdict is Verdict.WRONG:
        assert probability <= policy.wrong_to
        assert hearing.value != answer
    if verdict is Verdict.RIGHT:
        assert probability >= policy.right_from
        assert hearing.value == answer
    # strict never marks right what the kind policy would not
    if judge(hearing, answer, TEST) is Verdict.RIGHT:
        assert judge(hearing, answer, PRACTICE) is not Verdict.WRONG


@pytest.mark.parametrize(
    ("confidence", "odds", "numbers", "probability"),
    [
        (0.5, 1, 100, 0.5),
        (0.5, 20, 100, 20 / 21),  # Bayes: 20 x 0.5 against 0.5
        (0.2, 3, 100, 0.6 / 1.4),
        (0.5, 20, 10, 9 / 10),  # among ten numbers the right one is no likelier than the others
        (0.5, 20, 1, 0.5),
        (0.0, 20, 100, 0.0),
        (1.0, 20, 100, 1.0),
    ],
)
def test_bayes_rule(confidence: float, odds: float, numbers: int, probability: float) -> None:
    policy = Policy("try", 0.99, 0.01, odds=odds)
    hearing = heard((25, confidence))
    assert probability_right(hearing, 25, policy, numbers) == pytest.approx(probability)


SURE_25, SURE_26 = heard((25, 0.9999)), heard((26, 0.9999))
TORN = heard((25, 0.6), (26, 0.39))
WEAK_25, WEAK_26 = heard((25, 0.6)), heard((26, 0.6))  # perhaps no number at all


@pytest.mark.parametrize(
    ("hearings", "policy", "verdict", "then", "value"),
    [
        ([SURE_25], PRACTICE, Verdict.RIGHT, Next.GO_ON, 25),
        ([SURE_26], PRACTICE, Verdict.WRONG, Next.GO_ON, 26),
        ([SILENCE], PRACTICE, Verdict.SILENT, Next.GO_ON, None),
        ([TORN], PRACTICE, Verdict.UNCLEAR, Next.ASK_AGAIN, 25),
        ([COUGH], TEST, Verdict.UNCLEAR, Next.ASK_AGAIN, None),
        ([TORN, SURE_25], PRACTICE, Verdict.RIGHT, Next.GO_ON, 25),
        ([TORN, SURE_26], TEST, Verdict.WRONG, Next.GO_ON, 26),
        ([TORN, TORN], PRACTICE, Verdict.UNCLEAR, Next.TEACHER, 25),
        ([TORN, SILENCE], PRACTICE, Verdict.UNCLEAR, Next.TEACHER, 25),
        ([TORN, COUGH], PRACTICE, Verdict.UNCLEAR, Next.TEACHER, 25),
        ([COUGH, COUGH], PRACTICE, Verdict.UNCLEAR, Next.TEACHER, None),
        ([COUGH, SILENCE], PRACTICE, Verdict.UNCLEAR, Next.TEACHER, None),
        ([COUGH, SURE_25], TEST, Verdict.RIGHT, Next.GO_ON, 25),
        # weak, but the same number twice
        ([WEAK_25, WEAK_25], PRACTICE, Verdict.RIGHT, Next.GO_ON, 25),
        ([WEAK_26, WEAK_26], PRACTICE, Verdict.WRONG, Next.GO_ON, 26),
        ([TORN, WEAK_25], PRACTICE, Verdict.RIGHT, Next.GO_ON, 25),
        ([WEAK_25, WEAK_26], PRACTICE, Verdict.UNCLEAR, Next.TEACHER, 26),
        # a different number from the one before: fine in practice, not in a test
        ([heard((27, 0.7)), SURE_25], PRACTICE, Verdict.RIGHT, Next.GO_ON, 25),
        ([heard((27, 0.7)), SURE_25], TEST, Verdict.UNCLEAR, Next.TEACHER, 25),
        ([SURE_26, SURE_25], TEST, Verdict.UNCLEAR, Next.TEACHER, 25),
    ],
)
def test_asked_once_more_then_the_teachers_ear(
    hearings: list[Hearing], policy: Policy, verdict: Verdict, then: Next, value: int | None
) -> None:
    decision = decide(hearings, 25, policy)
    assert (decision.verdict, decision.next, decision.hearing.value) == (verdict, then, value)


def test_a_part_of_the_right_number_is_asked_about_once() -> None:
    three, five_tens = heard((3, 0.9999)), heard((50, 0.9999))
    for part in (three, five_tens):
        assert judge(part, 53) is Verdict.WRONG
        first = decide([part], 53)
        assert (first.verdict, first.next) == (Verdict.UNCLEAR, Next.ASK_AGAIN)
        assert decide([part], 53, asks=0).next is Next.TEACHER
        twice = decide([part, part], 53)  # the machine may have missed the same word again
        assert (twice.verdict, twice.next) == (Verdict.UNCLEAR, Next.TEACHER)
        before = replace(PRACTICE, part_waits=False)  # earlier rounds run again as they were
        assert decide([part, part], 53, before).verdict is Verdict.WRONG
        for nothing in (SILENCE, COUGH):
            left = decide([part, nothing], 53)
            assert (left.verdict, left.next, left.hearing) == ("unclear", "teacher", part)
        assert decide([part], 64).verdict is Verdict.WRONG
        assert decide([part, heard((53, 0.9999))], 53).verdict is Verdict.RIGHT
    assert decide([heard((53, 0.9999))], 3).next is Next.ASK_AGAIN  # a neighbour said "fifty"


def test_a_pupil_silent_when_asked_again_is_judged_by_the_first_attempt() -> None:
    assert decide([COUGH, SILENCE], 25).hearing is COUGH


def test_asking_as_often_as_the_policy_wants() -> None:
    assert decide([TORN], 25, asks=0).next is Next.TEACHER
    assert decide([TORN, TORN], 25, asks=2).next is Next.ASK_AGAIN
    with pytest.raises(ValueError, match="nothing was heard"):
        decide([], 25)


def test_a_model_that_nobody_calibrated_marks_nobody_wrong() -> None:
    most = 1 - Calibration().doubt
    for policy in (PRACTICE, TEST):
        assert judge(heard((26, most)), 25, policy) == "unclear"
    assert judge(heard((25, most)), 25, PRACTICE) == "right"
