"""The parts of practice against what is known about them from elsewhere."""

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from fsrs import Card, Rating, Scheduler
from scipy import integrate

from oralquiz.beads import Rule, Sum
from oralquiz.judge import diagnose
from oralquiz.learn.choice import rule_words
from oralquiz.learn.mastery import Mastery
from oralquiz.learn.pace import LAPSES, SLOPES, THRESHOLDS, PaceBelief
from oralquiz.learn.review import Memory
from oralquiz.learn.skill import SkillBelief, blame, probability, uses_of

DAY = datetime(2024, 3, 4, 16, tzinfo=UTC)


def test_the_grid_is_bayes_rule_written_out() -> None:
    belief = PaceBelief.before(3.0)
    found = belief.after(2.0, right=True).after(1.0, right=False)

    def weight(a: int, b: int, c: int) -> float:
        threshold, slope, lapse = THRESHOLDS[a], SLOPES[b], LAPSES[c]
        two, one = (
            min(max((1 - lapse) / (1 + math.exp(-slope * (math.log(s) - threshold))), 1e-3), 0.999)
            for s in (2.0, 1.0)
        )
        return float(belief.grid[a, b, c] * two * (1 - one))

    whole = sum(weight(*place) for place in np.ndindex(40, 6, 6))
    assert found.grid[17, 2, 3] == pytest.approx(weight(17, 2, 3) / whole)
    assert found.grid.sum() == pytest.approx(1)


def test_drift_keeps_the_mean_and_widens() -> None:
    belief = PaceBelief.before(3.0)
    for _ in range(8):
        belief = belief.after(2.0, right=True).after(1.6, right=False)

    def spread(one: PaceBelief) -> tuple[float, float]:
        weights = one.grid.sum(axis=(1, 2))
        mean = float(weights @ THRESHOLDS)
        return mean, float(weights @ (THRESHOLDS - mean) ** 2)

    for sd in (0.02, 0.2):
        (mean, before), (moved, after) = spread(belief), spread(belief.drifted(sd))
        assert moved == pytest.approx(mean, abs=0.01)
        assert after - before == pytest.approx(sd**2, rel=0.1)


def test_a_skill_is_near_the_exact_posterior() -> None:
    belief = SkillBelief(2.6, 1.3).after(succeeded=18, failed=2)

    def density(logit: float) -> float:
        p = probability(logit)
        return math.exp(-0.5 * ((logit - 2.6) / 1.3) ** 2) * p**18 * (1 - p) ** 2

    whole, mean = (integrate.quad(lambda x, k=k: x**k * density(x), -8, 12)[0] for k in (0, 1))
    mean /= whole
    square = integrate.quad(lambda x: (x - mean) ** 2 * density(x), -8, 12)[0] / whole
    assert belief.mean == pytest.approx(mean, abs=0.02)
    assert belief.sd == pytest.approx(math.sqrt(square), rel=0.02)


def test_blame_follows_the_diagnosis_and_comes_to_one_move_at_most() -> None:
    terms = Sum.parse("34 + 13 - 22")
    uses = uses_of(terms, 2)
    found = blame(diagnose(terms, 20), uses, {})
    assert found[Rule.parse("five:+3")] > 0.8
    assert sum(found.values()) <= 1
    assert sum(blame(None, uses, {}).values()) == pytest.approx(1)


def test_a_doubtful_rule_takes_more_of_the_blame() -> None:
    terms = Sum.parse("34 + 13 - 22")
    uses, rule = uses_of(terms, 2), Rule.parse("five:+3")
    sure = blame(diagnose(terms, 20), uses, {rule: SkillBelief(6.0, 0.1)})
    doubtful = blame(diagnose(terms, 20), uses, {rule: SkillBelief(1.0, 0.1)})
    assert doubtful[rule] > sure[rule]


def test_reviews_are_what_fsrs_says() -> None:
    scheduler = Scheduler(learning_steps=(), relearning_steps=(), enable_fuzzing=False)
    card, memory = Card(), Memory()
    for day, failed, rating in [
        (0, 0.0, Rating.Good),
        (3, 1.0, Rating.Hard),
        (20, 4.0, Rating.Again),
        (22, 0.2, Rating.Good),
    ]:
        now = DAY + timedelta(days=day)
        card, _ = scheduler.review_card(card, rating, now)
        for _ in range(2):  # a day's moves are rated together
            memory = memory.after(now.date(), now, 5, failed / 2)
        settled = memory.settled()
        assert (settled.stability, settled.due) == (card.stability, card.due)
    later = DAY + timedelta(days=40)
    assert memory.settled().recall(later) == scheduler.get_card_retrievability(card, later)


def test_a_few_moves_rate_nothing() -> None:
    memory = Memory().after(DAY.date(), DAY, 5, 0)
    assert memory.settled() == Memory()
    assert memory.settled().recall(DAY) is None


def test_mastered_takes_two_days_and_ends_with_the_skill() -> None:
    sure = SkillBelief(4.5, 0.5)
    first = Mastery().after(sure, DAY.date(), 0.95)
    assert not first.after(sure, DAY.date(), 0.95).reached
    second = first.after(sure, DAY.date() + timedelta(days=1), 0.95)
    assert second.reached
    assert not second.after(SkillBelief(2.0, 0.5), DAY.date(), 0.95).reached


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("five:+3", "+ 3 is + 5 - 2"),
        ("five:-1", "- 1 is - 5 + 4"),
        ("ten:+7", "+ 7 is + 10 - 3"),
        ("ten:-9", "- 9 is - 10 + 1"),
        ("both:+6", "+ 6 is + 10 - 5 + 1"),
        ("both:-8", "- 8 is - 10 + 5 - 3"),
    ],
)
def test_rules_in_words(rule: str, words: str) -> None:
    assert rule_words(Rule.parse(rule)) == words
    left, right = words.split(" is ")
    assert eval(left.replace(" ", "")) == eval(right.replace(" ", ""))


def pace_held(right: Callable[[int, float], bool], sums: int = 60) -> float:
    """The pace in seconds at the end, of a pupil whose sum number n at a pace is ``right``."""
    belief, pace_s = PaceBelief.before(3.0), 3.0
    for number in range(sums):
        wanted = min(belief.pace_for(0.85), belief.most_right())
        pace_s = min(max(wanted, pace_s / 1.1), pace_s * 1.1, 6.0)
        belief = belief.after(pace_s, right(number, pace_s)).drifted(0.02)
    return pace_s


def test_what_slowness_does_not_cure_is_not_read_slowly() -> None:
    at_any_pace = pace_held(lambda number, pace_s: number % 3 != 2)
    too_quick = pace_held(lambda number, pace_s: pace_s > 4.6 or number % 3 == 2)
    assert at_any_pace < 4.5 < too_quick
    assert pace_held(lambda number, pace_s: number % 7 != 6) < 3  # 86 in 100, at any pace
