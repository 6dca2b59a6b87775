"""Small requests of every kind, whose sums can all be tried in a moment."""

from __future__ import annotations

from oralquiz.beads import ALL_RULES, DIRECT, Rule
from oralquiz.compose import Drill, Request


def rules(*names: str) -> frozenset[Rule]:
    return frozenset(Rule.parse(name) for name in names)


ONE = Request(columns=1, terms=4, digits=(1, 1))
FIVES = rules("direct", "five:+4", "five:+3", "five:-2")
TWO = Request(columns=2, terms=3, digits=(2, 2), allowed=FIVES)

SMALL = {
    "one column": ONE,
    "one term": Request(columns=1, terms=1, digits=(1, 1)),
    "repeats": Request(columns=1, terms=4, digits=(1, 1), repeats=True),
    "cancels": Request(columns=1, terms=4, digits=(1, 1), cancels=True),
    "both": Request(columns=1, terms=4, digits=(1, 1), repeats=True, cancels=True),
    "direct only": Request(columns=1, terms=5, digits=(1, 1), allowed=frozenset({DIRECT})),
    "one drill": Request(
        columns=1, terms=4, digits=(1, 1), drills=(Drill(rules("five:+3", "five:-3"), 2),)
    ),
    "two drills": Request(
        columns=1,
        terms=4,
        digits=(1, 1),
        drills=(Drill(rules("five:+3")), Drill(rules("five:-1", "five:-2"), 2)),
    ),
    "minus": Request(columns=1, terms=4, digits=(1, 1), minus=(1, 2)),
    "no minus": Request(columns=1, terms=4, digits=(1, 1), minus=(0, 0)),
    "signs": Request(columns=1, terms=4, digits=(1, 1), signs="+?-+"),
    "answer": Request(columns=1, terms=4, digits=(1, 1), answer=(3, 5)),
    "answer zero": Request(columns=1, terms=4, digits=(1, 1), answer=(0, 0)),
    "below zero": Request(columns=1, terms=4, digits=(1, 1), below_zero=True),
    "minus first": Request(
        columns=1,
        terms=4,
        digits=(1, 1),
        below_zero=True,
        first_plus=False,
        repeats=True,
        drills=(Drill(rules("ten:-4", "ten:+4", "both:-7")),),
    ),
    "two columns": TWO,
    "two columns, drilled": Request(
        columns=2, terms=3, digits=(2, 2), allowed=FIVES, drills=(Drill(rules("five:+3"), 2),)
    ),
    "left hand": Request(
        columns=2,
        terms=3,
        digits=(2, 2),
        allowed=FIVES,
        drills=(Drill(rules("five:+3"), 1, column=1, shown=4),),
    ),
    "digit": Request(
        columns=2,
        terms=2,
        digits=(1, 2),
        drills=(Drill(frozenset({DIRECT}), 1, column=0, digit=-2),),
    ),
    "carries": Request(
        columns=2,
        terms=2,
        digits=(1, 2),
        allowed=rules("direct", "five:+1", "ten:+9", "ten:-9", "ten:+1"),
        drills=(Drill(rules("five:+1")),),
    ),
    "digits in all": Request(columns=2, terms=2, digits=(1, 2), allowed=FIVES, digits_in_all=3),
    "two columns below zero": Request(
        columns=2,
        terms=2,
        digits=(2, 2),
        below_zero=True,
        first_plus=False,
        drills=(Drill(frozenset(ALL_RULES) - {DIRECT}, 3),),
    ),
    "three columns": Request(
        columns=3,
        terms=2,
        digits=(1, 2),
        allowed=rules("direct", "ten:+1", "ten:+8", "ten:+9"),
        drills=(Drill(rules("ten:+1")),),
        repeats=True,
    ),
    "impossible": Request(columns=1, terms=2, digits=(1, 1), drills=(Drill(rules("five:-4"), 2),)),
}
