import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import Rule
from oralquiz.judge.choices import Choices
from oralquiz.judge.rates import BASE, DEFAULT, MOVES, Rates
from oralquiz.judge.slip import SlipKind
from oralquiz.judge.slip_table import Digit, digits_of

TWO_HANDS = Choices(2, DEFAULT)


@pytest.mark.parametrize(
    ("term", "digits"),
    [
        (34, (Digit(1, 3), Digit(0, 4))),
        (-22, (Digit(1, -2), Digit(0, -2))),
        (7, (Digit(0, 7, only=True),)),
        (40, (Digit(1, 4, only=True),)),
        (305, (Digit(2, 3), Digit(0, 5))),
    ],
)
def test_a_term_is_played_from_its_highest_column(term: int, digits: tuple[Digit, ...]) -> None:
    assert digits_of(term) == digits


@given(
    st.integers(1, 4),
    st.integers(0, 9999),
    st.integers(-9, 9).filter(bool),
    st.booleans(),
    st.floats(0.001, 0.5),
)
def test_the_choices_at_a_move_add_up_to_one(
    columns: int, value: int, digit: int, carry: bool, rate: float
) -> None:
    choices = Choices(columns, Rates(base=dict.fromkeys(SlipKind, rate)))
    for column in range(columns):
        point = choices.digit(value, Digit(column, digit, carry))
        total = point.right.probability + sum(slip.probability for slip in point.slips)
        assert total == pytest.approx(1)
        assert point.right.probability >= 0.5 - 1e-9
        assert all(slip.error for slip in point.slips)
        errors = [slip.error for slip in point.slips]
        assert len(set(errors)) == len(errors)  # of two with the same effect, only one is listed


def kinds(point_slips: object) -> set[str]:
    return {slip.kind.value for slip in point_slips}  # type: ignore[attr-defined]


def test_the_slips_of_one_move() -> None:
    # + 8 on a hand that shows 4 is + 10 - 2; what can go wrong, and by how much it ends wrong
    point = TWO_HANDS.digit(4, Digit(0, 8))
    assert {(str(slip.kind), slip.error) for slip in point.slips} == {
        ("complement-missed", 2),
        ("complement-wrong-way", 4),
        ("five-moved-in-vain", 5),
        ("complement-wrong-partner", 1),
        ("complement-wrong-partner", -1),
        ("ten-moved-in-vain", 10),
        ("carry-forgotten", -10),
        ("carry-wrong-column", -9),
        ("carry-wrong-way", -20),
        ("column-left-out", -8),
        ("column-wrong-way", -16),
        ("hands-swapped", 72),
    }


def test_the_slips_of_taking_in_a_term() -> None:
    assert kinds(TWO_HANDS.term(13, first=False).slips) == {
        "term-left-out",
        "term-doubled",
        "term-misheard",
        "sign-flipped",
        "digits-reversed",
    }
    assert kinds(TWO_HANDS.term(20, first=True).slips) == {"term-left-out", "term-doubled"}
    # a number that the frame cannot show is not heard
    assert "term-misheard" not in kinds(Choices(1, DEFAULT).term(13, first=False).slips)


def test_nothing_is_read_wrong_where_both_digits_are_the_same() -> None:
    assert TWO_HANDS.answer(55).slips == ()
    (slip,) = TWO_HANDS.answer(5).slips  # 05 read as 50
    assert slip.error == 45
    assert Choices(3, DEFAULT).answer(5).slips[0].error == 45


def test_only_an_answer_before_can_be_kept() -> None:
    assert TWO_HANDS.start(None).slips == () == TWO_HANDS.start(0).slips
    (slip,) = TWO_HANDS.start(27).slips
    assert (slip.kind, slip.error) == (SlipKind.PREVIOUS_KEPT, 27)


def test_a_rate_is_that_of_the_slip_times_that_of_the_move() -> None:
    kind, five, direct = SlipKind.FIVE_NOT_MOVED, Rule.parse("five:+3"), Rule.parse("direct")
    assert DEFAULT.of(kind, five) == BASE[kind] * MOVES[five.kind]
    assert DEFAULT.of(kind, direct) == BASE[kind] * MOVES[direct.kind] < DEFAULT.of(kind, five)
    assert DEFAULT.of(SlipKind.TERM_LEFT_OUT, None) == BASE[SlipKind.TERM_LEFT_OUT]
