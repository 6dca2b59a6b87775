"""Who can do what, in plain characters: a class's pupils and rules side by side."""

from __future__ import annotations

from collections.abc import Sequence

from oralquiz.learn import RuleColumn, Standing, rule_words

SIGNS = {
    Standing.MASTERED: "M",
    Standing.GROWING: "g",
    Standing.DUE: "!",
    Standing.NOT_YET: ".",
}


def grid_lines(columns: Sequence[RuleColumn]) -> list[str]:
    """A line for each pupil with a sign for each rule that the class has met, and a legend."""
    met = [column for column in columns if not column.new]
    if not met:
        return []
    names = list(met[0].standings)
    widest = max(map(len, names))
    rows = [
        f"{name:<{widest}}  {' '.join(f'{SIGNS[one.standings[name]]:>2}' for one in met)}"
        for name in names
    ]
    head = f"{'':<{widest}}  {' '.join(f'{number:>2}' for number in range(1, len(met) + 1))}"
    meanings = ", ".join(f"{sign} {standing}" for standing, sign in SIGNS.items())
    rules = [f"  {number:>2}  {rule_words(one.rule)}" for number, one in enumerate(met, 1)]
    return [f"Who can do what ({meanings}):", head, *rows, *rules]
