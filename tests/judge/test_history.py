import pytest

from oralquiz.beads import Rule, Sum
from oralquiz.judge.diagnosis import Diagnoser
from oralquiz.judge.history import RULE_STRENGTH, STRENGTH, observed, rates_of, sharpened
from oralquiz.judge.rates import BASE, DEFAULT, MOVES, Rates
from oralquiz.judge.slip import SlipKind

FIVE_PLUS_3 = Rule.parse("five:+3")
TERM = Sum.parse("34 + 13 - 22")


def test_nothing_known_changes_nothing() -> None:
    rates = rates_of([])
    for kind in SlipKind:
        assert rates.of(kind, FIVE_PLUS_3) == DEFAULT.of(kind, FIVE_PLUS_3)


def test_rates_are_base_times_the_kind_of_move() -> None:
    assert DEFAULT.of(SlipKind.FIVE_NOT_MOVED, FIVE_PLUS_3) == BASE[SlipKind.FIVE_NOT_MOVED]
    direct = DEFAULT.of(SlipKind.FIVE_NOT_MOVED, Rule.parse("direct"))
    assert direct == BASE[SlipKind.FIVE_NOT_MOVED] * MOVES[Rule.parse("direct").kind]
    assert DEFAULT.of(SlipKind.TERM_LEFT_OUT, None) == BASE[SlipKind.TERM_LEFT_OUT]


def test_factors_are_means_of_gamma_distributions() -> None:
    # by the formula: (strength + seen) / (strength + awaited)
    key = (SlipKind.FIVE_NOT_MOVED, FIVE_PLUS_3)
    rates = sharpened({key: 5.0}, {key: 1.0})
    kind = (STRENGTH + 5) / (STRENGTH + 1)
    rule = (RULE_STRENGTH + 5) / (RULE_STRENGTH + kind)
    assert rates.of(*key) == pytest.approx(BASE[SlipKind.FIVE_NOT_MOVED] * kind * rule)
    other = rates.of(SlipKind.FIVE_NOT_MOVED, Rule.parse("five:+4"))
    assert other == pytest.approx(BASE[SlipKind.FIVE_NOT_MOVED] * kind)


def test_no_history_makes_slips_the_rule() -> None:
    key = (SlipKind.FIVE_NOT_MOVED, FIVE_PLUS_3)
    rates = sharpened({key: 10_000.0}, {key: 0.1})
    assert rates.of(*key) == pytest.approx(20 * BASE[SlipKind.FIVE_NOT_MOVED])
    sure = Rates(base=dict.fromkeys(SlipKind, 0.3))
    for explanation in Diagnoser(2, sure).diagnose(TERM, 20).explanations:
        assert 0 < explanation.probability < 1


def test_an_answer_counts_as_far_as_it_is_certain() -> None:
    counts = observed(Diagnoser(2).diagnose(TERM, 20))
    assert counts[SlipKind.FIVE_NOT_MOVED, FIVE_PLUS_3] > 0.9
    assert 0.9 < sum(counts.values()) < 1


def test_right_answers_make_slips_rarer() -> None:
    rates = rates_of([(TERM, 25)] * 300)
    assert rates.of(SlipKind.TERM_LEFT_OUT, None) < 0.3 * BASE[SlipKind.TERM_LEFT_OUT]


def test_what_repeats_becomes_likelier() -> None:
    ambiguous = (Sum.parse("23 + 13 + 13"), 39)  # a column left out, or ..., at one term or other
    before = Diagnoser(2).diagnose(*ambiguous)
    habit = rates_of([(TERM, 25), (Sum.parse("34 + 12"), 36), (Sum.parse("51 + 32"), 53)] * 4)
    after = Diagnoser(2, habit).diagnose(*ambiguous)
    kind = SlipKind.COLUMN_LEFT_OUT
    assert after.kinds[kind] > before.kinds[kind] > 0
