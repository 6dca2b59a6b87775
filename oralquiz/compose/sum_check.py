"""Why a given sum is not one that was asked for, in a teacher's words."""

from __future__ import annotations

from collections.abc import Sequence

from oralquiz.beads import Rule
from oralquiz.compose.frame_moves import frame_moves
from oralquiz.compose.ranges import counted, range_text
from oralquiz.compose.request import Drill, Request


def rules_by_term(terms: Sequence[int], request: Request) -> list[tuple[Rule, ...]]:
    """The rules of each term's moves, up to where the sum leaves the frame."""
    rules: list[tuple[Rule, ...]] = []
    total = 0
    for term in terms:
        if not request.lowest <= total + term <= request.highest:
            break
        rules.append(tuple(m.rule for m in frame_moves(total, term, request.columns)))
        total += term
    return rules


def check_sum(terms: Sequence[int], request: Request) -> list[str]:
    """Every way the sum fails the request; empty if it fits."""
    found = _frame_problems(terms, request)
    leaves = bool(found)
    for index, rules in enumerate(rules_by_term(terms, request)):
        for rule in dict.fromkeys(rules):
            if rule not in request.allowed:
                found.append(f"term {index + 1} ({terms[index]:+d}) uses {rule}, not taught yet")
    if not leaves:
        found += _drill_problems(terms, request)
    return found + _shape_problems(terms, request)


def _frame_problems(terms: Sequence[int], request: Request) -> list[str]:
    total = 0
    for index, term in enumerate(terms):
        after = total + term
        if after > request.highest:
            where = f"over {request.highest}"
        elif after < request.lowest:
            where = "below zero" if request.lowest == 0 else f"below {request.lowest}"
        else:
            total = after
            continue
        sign = "+" if term > 0 else "-"
        return [
            f"term {index + 1} ({term:+d}) leaves the frame: {total} {sign} {abs(term)} = {after} "
            f"is {where}"
        ]
    return []


def _drill_problems(terms: Sequence[int], request: Request) -> list[str]:
    found: list[str] = []
    for drill in request.drills:
        uses = drill_uses(terms, request.columns, drill)
        if uses < drill.uses:
            names = " or ".join(sorted(rule.name for rule in drill.rules))
            wanted = f", wanted at least {_times(drill.uses)}" if drill.uses > 1 else ""
            found.append(
                (f"uses {names} {_times(uses)}" if uses else f"never uses {names}") + wanted
            )
    return found


def drill_uses(terms: Sequence[int], columns: int, drill: Drill) -> int:
    """How many moves of a sum count for the drill."""
    uses = total = 0
    for term in terms:
        for move in frame_moves(total, term, columns):
            shown = move.before // 10**move.column % 10
            uses += (
                move.rule in drill.rules
                and drill.column in (None, move.column)
                and drill.shown in (None, shown)
                and drill.digit in (None, move.digit)
            )
        total += term
    return uses


def _times(uses: int) -> str:
    return {1: "once", 2: "twice"}.get(uses, f"{uses} times")


def _shape_problems(terms: Sequence[int], request: Request) -> list[str]:
    found: list[str] = []
    if len(terms) != request.terms:
        found.append(f"has {counted(len(terms), 'term')}, wanted {request.terms}")
    low, high = request.digits
    for index, term in enumerate(terms):
        name = f"term {index + 1} ({term:+d})"
        digits = len(str(abs(term)))
        if not low <= digits <= high:
            found.append(f"{name} has {counted(digits, 'digit')}, wanted {range_text((low, high))}")
        wanted = request.signs[index] if request.signs and index < len(request.signs) else "?"
        if wanted not in ("?", "+" if term > 0 else "-"):
            found.append(f"{name} has the wrong sign, wanted {wanted}")
        if index and not request.repeats and term == terms[index - 1]:
            found.append(f"{name} repeats the term before it")
        if index and not request.cancels and term == -terms[index - 1]:
            found.append(f"{name} cancels the term before it")
    if request.first_plus and terms[0] < 0:
        found.append("the first term is minus")
    minus = sum(term < 0 for term in terms)
    if request.minus is not None and not request.minus[0] <= minus <= request.minus[1]:
        found.append(f"has {counted(minus, 'minus term')}, wanted {range_text(request.minus)}")
    if request.answer is not None and not request.answer[0] <= sum(terms) <= request.answer[1]:
        found.append(f"the answer is {sum(terms)}, wanted {range_text(request.answer)}")
    in_all = sum(len(str(abs(term))) for term in terms)
    if request.digits_in_all is not None and in_all != request.digits_in_all:
        found.append(f"has {counted(in_all, 'digit')} in all, wanted {request.digits_in_all}")
    return found
