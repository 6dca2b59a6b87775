import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oralquiz.beads import Sum
from oralquiz.errors import FrameError
from oralquiz.judge.diagnosis import Diagnoser, diagnose
from oralquiz.judge.slip import SlipKind
from tests.judge.hands import single_slips

pytestmark = pytest.mark.slow


@st.composite
def sums(draw: st.DrawFn, columns: int, most: int = 5) -> Sum:
    """Sums that fit the frame, of 1 to ``most`` terms."""
    top = 10**columns - 1
    terms: list[int] = []
    total = 0
    for _ in range(draw(st.integers(1, most))):
        term = draw(st.integers(-total, top - total).filter(bool))
        terms.append(term)
        total += term
    return Sum(tuple(terms))


DIAGNOSERS = {columns: Diagnoser(columns) for columns in (1, 2, 3)}


@settings(deadline=None, max_examples=40)
@given(st.data(), st.sampled_from([1, 2, 3]))
def test_finds_every_slip_that_hands_can_make_and_no_other(
    data: st.DataObject, columns: int
) -> None:
    terms = data.draw(sums(columns))
    previous = data.draw(st.integers(0, 10**columns - 1))
    played = set(single_slips(terms, columns, previous))
    # of two slips of one move that have the same effect, only one is listed
    ends = {(term, column, end) for _, term, column, end in played if end != terms.answer}
    found = set()
    others = data.draw(st.sets(st.integers(0, 10**columns - 1), max_size=4))
    for heard in {end for *_, end in ends} | (others - {terms.answer}):
        for explanation in DIAGNOSERS[columns].diagnose(terms, heard, previous).explanations:
            if len(explanation.slips) == 1:
                (slip,) = explanation.slips
                found.add((slip.term, slip.column, heard))
                assert (slip.kind.value, slip.term, slip.column, heard) in played
    assert found == ends


def test_a_right_answer_needs_no_explanation() -> None:
    diagnosis = diagnose(Sum.parse("34 + 13 - 22"), 25)
    assert diagnosis.right
    assert diagnosis.explanations == () and diagnosis.unexplained == 0


def test_names_the_move_and_what_the_hands_then_showed() -> None:
    # 34, then + 13: the tens give 44; + 3 is + 5 - 2, without the thumb 42; - 22 leaves 20
    best = diagnose(Sum.parse("34 + 13 - 22"), 20).explanations[0]
    (slip,) = best.slips
    assert slip.kind is SlipKind.FIVE_NOT_MOVED
    assert (slip.term, slip.column, slip.digit, slip.before) == (1, 0, 3, 44)
    assert slip.rule is not None and slip.rule.name == "five:+3"
    assert best.totals == (34, 42, 20)


def test_ten_too_many_and_a_wrong_partner_have_slips_of_their_own() -> None:
    for heard in (16, 96):  # of 5 + 3 - 2, whose terms have no tens
        best = diagnose(Sum.parse("5 + 3 - 2"), heard).explanations[0]
        assert [slip.kind for slip in best.slips] == [SlipKind.TEN_MOVED_IN_VAIN]
    best = diagnose(Sum.parse("4 + 3"), 8).explanations[0]  # + 5 - 1
    assert [slip.kind for slip in best.slips] == [SlipKind.COMPLEMENT_WRONG_PARTNER]
    kinds = diagnose(Sum.parse("1 + 3"), 3).kinds  # a move without a partner
    assert SlipKind.FINGER_TOO_FEW in kinds
    assert SlipKind.COMPLEMENT_WRONG_PARTNER not in kinds


def test_a_pair_only_where_no_single_slip_fits() -> None:
    one = diagnose(Sum.parse("34 + 13 - 22"), 20)
    two = diagnose(Sum.parse("34 + 13 - 22"), 77)
    assert {len(explanation.slips) for explanation in one.explanations} == {1}
    assert {len(explanation.slips) for explanation in two.explanations} == {2}
    assert one.two_slips > 0 and two.two_slips == 0


def test_not_explained_is_an_outcome() -> None:
    diagnosis = diagnose(Sum.parse("34 + 13 - 22"), 77)
    assert diagnosis.unexplained > 0.5 > diagnosis.explanations[0].probability
    assert diagnose(Sum.parse("2 + 2"), -5).unexplained == 1


def test_a_borrow_from_where_nothing_is_ends_on_the_complement() -> None:
    # the 34 left out, 13 - 22 is impossible; played on, two hands show 91 (and no hundred)
    diagnosis = diagnose(Sum.parse("34 + 13 - 22"), 91)
    (left_out,) = [e for e in diagnosis.explanations if e.slips[0].kind is SlipKind.TERM_LEFT_OUT]
    assert left_out.slips[0].term == 0
    assert left_out.totals == (0, 13, 91)


def test_a_carry_off_the_frame_is_lost_or_kept_in_the_head() -> None:
    # 61 + 25 + 12 with the 25 played twice: 123, of which two hands show 23
    terms = Sum.parse("61 + 25 + 12")
    for heard in (23, 123):
        slips = [e.slips[0].kind for e in diagnose(terms, heard).explanations]
        assert SlipKind.TERM_DOUBLED in slips
    assert SlipKind.TERM_DOUBLED in diagnose(terms, 123, columns=3).kinds
    on_three = diagnose(terms, 23, columns=3).explanations
    assert SlipKind.TERM_DOUBLED not in [e.slips[0].kind for e in on_three if len(e.slips) == 1]


def test_one_hand_and_a_wide_frame() -> None:
    (one_hand,) = diagnose(Sum.parse("4 + 3 - 2"), 8, columns=1).explanations
    assert [slip.kind for slip in one_hand.slips] == [SlipKind.TERM_DOUBLED]
    terms = Sum.parse("123456789 + 300000005 - 20000001")
    wide = diagnose(terms, terms.answer - 50, columns=9)  # the 8 of the first term is 5 + 3
    (slip,) = wide.explanations[0].slips
    assert (slip.kind, slip.term, slip.column) == (SlipKind.FIVE_NOT_MOVED, 0, 1)


def test_a_sum_that_the_frame_cannot_show_is_refused() -> None:
    with pytest.raises(FrameError, match=r"term 2 \(\+78\) goes over 99"):
        diagnose(Sum.parse("34 + 78"), 12)
