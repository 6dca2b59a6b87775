"""What a teacher asks of a sum: the frame, the terms, the rules, the answer."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from oralquiz.beads import ALL_RULES, Range, Rule, Syllabus, top
from oralquiz.errors import BadInput, excerpt

MAX_TERMS = 50
MAX_COMPOSE_COLUMNS = 5  # more than the tables could hold


@dataclass(frozen=True)
class Drill:
    """At least ``uses`` moves of a sum are by one of ``rules``.

    Every move counts, a carry's own move too. ``column`` (0 is the ones), ``shown`` (the digit a
    column shows before the move) and ``digit`` (the signed digit it takes) narrow which moves
    count.
    """

    rules: frozenset[Rule]
    uses: int = 1
    column: int | None = None
    shown: int | None = None
    digit: int | None = None

    def __post_init__(self) -> None:
        if not self.rules:
            raise BadInput("a drill needs at least one rule")
        if not 1 <= self.uses <= 100:
            raise BadInput(f"a drill is used 1 to 100 times, not {self.uses}")


@dataclass(frozen=True)
class Request:
    """Which sums are wanted; every sum starts on an empty frame.

    ``digits``: how many digits a term has. ``allowed``: the rules that every move, carries
    included, must keep to. ``drills``: what each sum must use. ``minus``: how many terms are
    minus. ``signs``: one sign a term, ``+``, ``-`` or ``?``. ``answer``: the answers wanted.
    ``repeats``: a term may follow itself. ``cancels``: a term may follow its opposite (34, then
    - 34). ``first_plus``: the first term is positive. ``digits_in_all``: digits of all terms
    together, as exams count them.

    ``below_zero``: running totals may be negative, down to minus the frame's top. The frame then
    borrows one from the column beyond its last, as the trade does: it shows 10^columns + total,
    and the one owed is remembered until a carry pays it back. Borrowing from there and paying
    back are no moves of the frame and count as no rule.
    """

    columns: int = 2
    terms: int = 5
    digits: Range = (2, 2)
    allowed: frozenset[Rule] = frozenset(ALL_RULES)
    drills: tuple[Drill, ...] = ()
    minus: Range | None = None
    signs: str | None = None
    answer: Range | None = None
    repeats: bool = False
    cancels: bool = False
    first_plus: bool = True
    below_zero: bool = False
    digits_in_all: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.columns <= MAX_COMPOSE_COLUMNS:
            raise BadInput(
                f"sums are composed for 1 to {MAX_COMPOSE_COLUMNS} columns, not {self.columns}"
            )
        if not 1 <= self.terms <= MAX_TERMS:
            raise BadInput(f"a sum has 1 to {MAX_TERMS} terms, not {self.terms}")
        low, high = self.digits
        if not 1 <= low <= high:
            raise BadInput(f"a term has at least 1 digit, not {low}-{high}")
        if low > self.columns:
            raise BadInput(
                f"a term of {low} digits does not fit a frame of {self.columns} "
                f"column{'s' if self.columns > 1 else ''}"
            )
        if not self.allowed:
            raise BadInput("a sum needs at least one allowed rule")
        if self.signs is not None and (
            len(self.signs) != self.terms or not re.fullmatch(r"[+\-?]+", self.signs)
        ):
            raise BadInput(
                f"signs is one +, - or ? for each of the {self.terms} terms, "
                f"not {excerpt(self.signs)}"
            )

    @property
    def lowest(self) -> int:
        """The lowest running total."""
        return -top(self.columns) if self.below_zero else 0

    @property
    def highest(self) -> int:
        """The highest running total."""
        return top(self.columns)


def request_for(syllabus: Syllabus, step_name: str, uses: int = 1, **wanted: Any) -> Request:
    """The request of a step: drill its rule at least ``uses`` times, use only rules taught so far.

    ``wanted`` are fields of Request that replace what the step or the syllabus says.
    """
    step = syllabus.step(step_name)
    columns = wanted.get("columns") or step.columns or syllabus.columns
    asked: dict[str, Any] = {
        "columns": columns,
        "terms": step.terms[1] if step.terms else 5,
        "digits": step.digits or (min(2, columns), min(2, columns)),
        "allowed": syllabus.taught(step_name),
        "drills": (Drill(frozenset(step.drill), uses),) if step.drill else (),
        "minus": step.minus,
        "below_zero": step.below_zero,
        "digits_in_all": step.digits_in_all,
    }
    asked.update({name: value for name, value in wanted.items() if value is not None})
    return Request(**asked)
