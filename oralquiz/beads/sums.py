"""A sum: a chain of signed terms with its answer, and how one is written and read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import accumulate

from oralquiz.beads.columns import MAX_COLUMNS, top
from oralquiz.errors import BadInput, FrameError, excerpt

_TERM = re.compile(r"\s*(?:([+\-−–])\s*)?([0-9]+)\s*")
"""Written so that a place where no term stands is found in linear time."""


@dataclass(frozen=True)
class Sum:
    """A chain of signed terms, none of them 0, at least one."""

    terms: tuple[int, ...]

    def __post_init__(self) -> None:
        if not self.terms:
            raise BadInput("a sum needs at least one term")
        for index, term in enumerate(self.terms):
            if term == 0:
                raise BadInput(f"term {index + 1} is 0: there is nothing to move")

    @property
    def answer(self) -> int:
        return sum(self.terms)

    @property
    def totals(self) -> tuple[int, ...]:
        """The running total after each term."""
        return tuple(accumulate(self.terms))

    def __str__(self) -> str:
        first, *rest = self.terms
        return " ".join([str(first), *(f"{'+' if t > 0 else '-'} {abs(t)}" for t in rest)])

    @classmethod
    def parse(cls, text: str) -> Sum:
        """Read ``34 + 13 - 22``. Raises BadInput naming the place that cannot be read."""
        terms: list[int] = []
        at = 0
        if not text.strip():
            raise BadInput("the sum is empty: write it like 34 + 13 - 22")
        while at < len(text):
            match = _TERM.match(text, at)
            if match is None or (terms and not match[1]):
                raise BadInput(f"{excerpt(text)}: {_wanted(text, at, first=not terms)}")
            if len(match[2]) > MAX_COLUMNS:
                number = excerpt(match[2], longest=20)
                where = f"at character {match.start(2) + 1}"
                raise BadInput(
                    f"{excerpt(text)}: {number} {where} has more than {MAX_COLUMNS} digits"
                )
            terms.append(int(match[2]) * (-1 if match[1] in ("-", "−", "–") else 1))
            at = match.end()
        return cls(tuple(terms))


def _wanted(text: str, at: int, first: bool) -> str:
    """What should stand at index ``at`` of a sum that cannot be read on from there."""
    at += len(text) - at - len(text[at:].lstrip())
    found = text[at : at + 12].rstrip()
    if found in ("+", "-", "−", "–"):
        return f"a number is missing after '{found}'"
    wanted = "a number" if first else "a sign and a number"
    return f"wanted {wanted} at character {at + 1}, not {excerpt(found)}"


def check_fits(terms: Sum, columns: int, below_zero: bool = False) -> None:
    """Raise FrameError, naming the term, if a running total leaves 0 .. the frame's top.

    With ``below_zero`` totals may go down to minus the top.
    """
    lowest = -top(columns) if below_zero else 0
    before = 0
    for index, (term, after) in enumerate(zip(terms.terms, terms.totals, strict=True)):
        if not lowest <= after <= top(columns):
            below = f"below {lowest}" if below_zero else "below zero"
            where = below if after < lowest else f"over {top(columns)}"
            frame = f"{columns} column{'s' if columns > 1 else ''}"
            raise FrameError(
                f"term {index + 1} ({term:+d}) goes {where}: "
                f"{before} {'+' if term > 0 else '-'} {abs(term)} = {after} "
                f"cannot be shown on {frame}"
            )
        before = after
