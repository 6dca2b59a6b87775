"""The names of the moves: a kind with its sign and digit, written ``five:+3``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from oralquiz.errors import BadInput, excerpt


class Kind(StrEnum):
    """How one column takes a digit.

    ``DIRECT``: the beads needed are free. ``FIVE``: complement of five. ``TEN``: complement of
    ten, the next column helps. ``BOTH``: the ten's complement itself needs the five.
    """

    DIRECT = "direct"
    FIVE = "five"
    TEN = "ten"
    BOTH = "both"


_DIGITS = {
    Kind.FIVE: range(1, 5),  # 5 has the complements 4+1 and 3+2 only
    Kind.TEN: range(1, 10),
    Kind.BOTH: range(6, 10),  # the complement 10 - d is 1 to 4, so that the five can hide it
}


@dataclass(frozen=True, order=True)
class Rule:
    """A kind with the signed digit it moves; ``direct`` has no digit (0)."""

    kind: Kind
    digit: int = 0

    def __post_init__(self) -> None:
        if self.kind is Kind.DIRECT:
            if self.digit != 0:
                raise ValueError("the direct rule has no digit")
        elif abs(self.digit) not in _DIGITS[self.kind]:
            raise ValueError(f"there is no rule {self.kind}:{self.digit:+d}")

    @property
    def name(self) -> str:
        return "direct" if self.kind is Kind.DIRECT else f"{self.kind}:{self.digit:+d}"

    def __str__(self) -> str:
        return self.name

    @classmethod
    def parse(cls, text: str) -> Rule:
        """Read a rule's name. Raises BadInput for a name that no rule has."""
        match = re.fullmatch(r"(five|ten|both):([+\-−])([1-9])", text.strip())
        if text.strip() == "direct":
            return DIRECT
        if match is None:
            raise BadInput(
                f"{excerpt(text)} is not a rule: write direct, five:+3, ten:-7 or both:+6"
            )
        digit = int(match[3]) * (1 if match[2] == "+" else -1)
        try:
            return cls(Kind(match[1]), digit)
        except ValueError as error:
            raise BadInput(str(error)) from None


DIRECT = Rule(Kind.DIRECT)

ALL_RULES: tuple[Rule, ...] = (
    DIRECT,
    *(Rule(kind, sign * d) for kind in _DIGITS for sign in (1, -1) for d in _DIGITS[kind]),
)
