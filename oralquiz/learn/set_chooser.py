"""Which sums a practice gives next: rules chosen for the pupil, and a sum that drills each."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from oralquiz.beads import Rule
from oralquiz.errors import BadInput
from oralquiz.learn.choice import Drilled, Known, Shares, choose
from oralquiz.learn.practice_state import Chosen, PracticeState
from oralquiz.learn.practice_sums import can_be_drilled, points, sums_drilling
from oralquiz.learn.review import Memory


class SetChooser:
    """Chooses sets of sums by what is known in ``state``; a new one is needed when other rules are
    taught."""

    def __init__(self, state: PracticeState) -> None:
        self._state = state
        self._drillable: tuple[Rule, ...] | None = None

    def choose(self, now: datetime, count: int | None = None) -> list[Chosen]:
        """``count`` sums (None: a usual set), from easier to harder."""
        state, rules = self._state, self._rules()
        rng = np.random.Generator(np.random.PCG64([state.seed, state.told, state.sets]))
        settled = {
            rule: replace(
                state.known[rule.name], memory=_settled_before(state.known[rule.name], now)
            )
            for rule in rules
        }
        wish = state.wish or state.settings.rule
        chosen = choose(
            settled,
            rules,
            count or state.settings.set_size,
            Shares(state.settings.today, state.settings.due),
            Rule.parse(wish) if wish in state.taught else None,
            now,
            rng,
        )
        state.sets += 1
        return self._compose(chosen, rng)

    def _lengths(self, rule: Rule | None) -> list[int]:
        """How many terms a sum has, the best first: the most with which the target is in reach."""
        state = self._state
        fewest, most = state.settings.terms
        chances = [state.known[name].belief.chance for name in state.taught]
        others = float(np.mean(chances))
        own = state.known[rule.name].belief.chance if rule else others
        reach = [
            terms
            for terms in range(fewest, most + 1)
            if own**2 * others ** (2 * terms - 2) >= state.settings.target
        ]
        best = reach[-1] if reach else fewest
        return sorted(range(fewest, most + 1), key=lambda terms: abs(terms - best))

    def _rules(self) -> tuple[Rule, ...]:
        """The rules taught that some sum can drill, in the order taught."""
        if self._drillable is None:
            lengths, shape = self._lengths(None), self._state.shape
            found = [rule for rule in self._state.rules if can_be_drilled(rule, lengths, shape)]
            if not found:
                raise BadInput("no sum of such a length uses the rules taught")
            self._drillable = tuple(found)
        return self._drillable

    def _compose(self, chosen: list[Drilled], rng: np.random.Generator) -> list[Chosen]:
        """A sum for each, from easier to harder."""
        shape, had = self._state.shape, list(self._state.recent)
        lengths = self._lengths(chosen[0].rule)
        sums = sums_drilling([one.rule for one in chosen], lengths, shape, had, rng)
        graded = sorted(
            zip(sums, chosen, strict=True), key=lambda pair: points(pair[0], shape.columns)
        )
        return [(terms.terms, one.rule.name, one.reason) for terms, one in graded]


def _settled_before(known: Known, now: datetime) -> Memory:
    """The memory, with a block of an earlier day rated; today's is not over."""
    block = known.memory.block
    return known.memory.settled() if block and block.day < now.date() else known.memory
