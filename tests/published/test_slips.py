"""Slips against what has been published about errors in mental sums on hands and bead frames."""

import pytest

from oralquiz.beads import Sum
from oralquiz.judge.diagnosis import diagnose
from oralquiz.judge.slip import SlipKind

FIVES = {SlipKind.FIVE_NOT_MOVED, SlipKind.FIVE_MOVED_IN_VAIN}


def test_the_error_of_exactly_five() -> None:
    # Domahs, Krinzinger & Willmes (2008), abstract: children err by exactly 5 more often than
    # chance would have it, as if a full hand had been lost; their example: 18 - 7 = 6
    diagnosis = diagnose(Sum.parse("18 - 7"), 6)
    best = diagnosis.explanations[0]
    assert [slip.kind for slip in best.slips] == [SlipKind.FIVE_NOT_MOVED]
    assert best.slips[0].error == -5
    assert best.probability > 0.9


@pytest.mark.parametrize("heard", [78, 68, 23])  # 73 by 5 or 50; 123 is more than hands show
def test_off_by_five_in_a_column_is_a_five(heard: int) -> None:
    # Stigler (1984), from memory: errors of 5 in one column mark the user of a bead frame
    diagnosis = diagnose(Sum.parse("34 + 13 + 26"), heard)
    assert next(iter(diagnosis.kinds)) in FIVES


def test_a_missing_column() -> None:
    # Stigler (1984), from memory: the other mark is a column left out
    diagnosis = diagnose(Sum.parse("112 + 341"), 413, columns=3)
    assert next(iter(diagnosis.kinds)) is SlipKind.COLUMN_LEFT_OUT


# The signatures of slips, answer minus truth, by derivation from the arithmetic alone.
@pytest.mark.parametrize(
    ("text", "error", "kind", "term"),
    [
        ("28 + 34", -10, SlipKind.CARRY_FORGOTTEN, 1),  # the carry of the ones
        ("62 - 34", +10, SlipKind.BORROW_FORGOTTEN, 1),
        ("23 + 4", -5, SlipKind.FIVE_NOT_MOVED, 1),  # + 5 - 1 without the five
        ("26 - 4", +5, SlipKind.FIVE_NOT_MOVED, 1),  # - 5 + 1 without the five
        ("51 + 23 + 12", -23, SlipKind.TERM_LEFT_OUT, 1),  # t left out: - t
        ("41 + 23 - 12", -46, SlipKind.SIGN_FLIPPED, 1),  # sign of t flipped: - 2 t
        ("61 - 23 + 12", +46, SlipKind.SIGN_FLIPPED, 1),
        ("20 + 7", 9 * 7, SlipKind.HANDS_SWAPPED, 1),  # ones played on the tens hand: + 9 t
        ("21 + 42", 36 - 63, SlipKind.ANSWER_REVERSED, None),  # a multiple of 9
        ("50 + 13", 17, SlipKind.TERM_MISHEARD, 1),  # thirteen for thirty
        ("90 - 30", 17, SlipKind.TERM_MISHEARD, 1),
        ("21 + 24", 18, SlipKind.DIGITS_REVERSED, 1),  # 24 as 42: a multiple of 9
    ],
)
def test_signatures_by_derivation(text: str, error: int, kind: SlipKind, term: int | None) -> None:
    terms = Sum.parse(text)
    diagnosis = diagnose(terms, terms.answer + error)
    places = {(e.slips[0].kind, e.slips[0].term): e.slips for e in diagnosis.explanations}
    assert (kind, term) in places
    (slip,) = places[kind, term]
    assert slip.error == error


def test_signatures_coincide_so_none_is_asserted() -> None:
    # carry forgotten, a finger too few in the tens, ...: all are 10 too few
    diagnosis = diagnose(Sum.parse("28 + 34"), 52)
    assert len(diagnosis.kinds) > 1
    assert diagnosis.explanations[0].slips[0].kind is SlipKind.CARRY_FORGOTTEN
    assert diagnosis.explanations[0].probability < 1 - diagnosis.unexplained
