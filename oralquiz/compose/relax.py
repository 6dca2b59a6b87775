"""When no sum exists: which single constraint, relaxed, makes one exist."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from oralquiz.beads import ALL_RULES
from oralquiz.compose.composed import count_sums, may_have_sums
from oralquiz.compose.ranges import range_text
from oralquiz.compose.request import MAX_COMPOSE_COLUMNS, MAX_TERMS, Request
from oralquiz.compose.sampler import Count
from oralquiz.errors import BadInput

TERMS_AROUND = 12
"""How many terms more or fewer are tried."""


@dataclass(frozen=True)
class Relaxation:
    """One constraint, how to relax it, and how many sums there are then.

    ``constraint`` is the name of a field of Request.
    """

    constraint: str
    sentence: str
    request: Request
    count: Count


def relaxations(request: Request) -> tuple[Relaxation, ...]:
    """For a request without sums: every single constraint whose relaxation makes one exist.

    Each is relaxed no more than needed. Empty if only two or more together would do. What cannot
    be counted on a wide frame is left out.
    """
    found: list[Relaxation] = []
    for constraint, ways in _candidates(request).items():
        for sentence, relaxed in ways:
            try:
                if not may_have_sums(relaxed):
                    continue
                count = count_sums(relaxed)
            except BadInput:  # too much to be counted on that frame
                continue
            if count.estimate > 0:
                found.append(Relaxation(constraint, sentence, relaxed, count))
                break
    return tuple(found)


def _candidates(request: Request) -> dict[str, Iterator[tuple[str, Request]]]:
    """For each constraint its relaxations, the least first."""
    return {
        "drills": _fewer_uses(request),
        "terms": _other_terms(request),
        "digits": _other_digits(request),
        "allowed": _more_rules(request),
        "minus": _dropped(request, "minus", None, "any number of minus terms"),
        "signs": _dropped(request, "signs", None, "any order of signs"),
        "answer": _dropped(request, "answer", None, "any answer"),
        "digits_in_all": _dropped(request, "digits_in_all", None, "any number of digits in all"),
        "repeats": _dropped(request, "repeats", True, "a term may follow itself"),
        "cancels": _dropped(request, "cancels", True, "a term may follow its opposite"),
        "first_plus": _dropped(request, "first_plus", False, "the first term may be minus"),
        "below_zero": _dropped(request, "below_zero", True, "running totals may be below zero"),
        "columns": _more_columns(request),
    }


def _dropped(
    request: Request, name: str, loose: object, sentence: str
) -> Iterator[tuple[str, Request]]:
    if getattr(request, name) != loose:
        yield sentence, replace(request, **{name: loose})  # type: ignore[arg-type]


def _fewer_uses(request: Request) -> Iterator[tuple[str, Request]]:
    for index, drill in enumerate(request.drills):
        names = " or ".join(sorted(rule.name for rule in drill.rules))
        others = request.drills[:index], request.drills[index + 1 :]
        for uses in range(drill.uses - 1, 0, -1):
            drills = (*others[0], replace(drill, uses=uses), *others[1])
            yield f"at least {uses} of {names} is enough", replace(request, drills=drills)
        yield f"{names} need not be used", replace(request, drills=others[0] + others[1])


def _other_terms(request: Request) -> Iterator[tuple[str, Request]]:
    if request.signs is not None:
        return
    for step in range(1, TERMS_AROUND + 1):
        for terms in (request.terms + step, request.terms - step):
            if 1 <= terms <= MAX_TERMS:
                yield f"{terms} terms", replace(request, terms=terms)


def _other_digits(request: Request) -> Iterator[tuple[str, Request]]:
    low, high = request.digits
    ranges = [(a, b) for a in range(low, 0, -1) for b in range(high, request.columns + 1)]
    for wider in sorted(ranges, key=lambda pair: pair[1] - pair[0])[1:]:
        yield f"terms of {range_text(wider)} digits", replace(request, digits=wider)


def _more_rules(request: Request) -> Iterator[tuple[str, Request]]:
    for rule in ALL_RULES:
        if rule not in request.allowed:
            yield f"{rule} may be used", replace(request, allowed=request.allowed | {rule})
    everything = frozenset(ALL_RULES)
    if request.allowed != everything:
        yield "every rule may be used", replace(request, allowed=everything)


def _more_columns(request: Request) -> Iterator[tuple[str, Request]]:
    for columns in range(request.columns + 1, MAX_COMPOSE_COLUMNS + 1):
        yield f"a frame of {columns} columns", replace(request, columns=columns)
