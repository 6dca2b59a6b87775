"""What one column of the frame shows, and what a frame of so many columns can hold."""

from __future__ import annotations

from dataclasses import dataclass

MAX_COLUMNS = 9


@dataclass(frozen=True)
class Column:
    """One column: a five (worth 5; on the hand, the thumb) and four ones (the fingers).

    ``five`` is 1 when the five counts, else 0; ``ones`` is how many of the four ones count.
    """

    five: int
    ones: int

    def __post_init__(self) -> None:
        if self.five not in (0, 1) or not 0 <= self.ones <= 4:
            raise ValueError(f"no column shows five={self.five}, ones={self.ones}")

    @classmethod
    def of(cls, digit: int) -> Column:
        """The only way one column shows ``digit`` (0 to 9)."""
        five, ones = divmod(digit, 5)
        return cls(five, ones)

    @property
    def digit(self) -> int:
        return 5 * self.five + self.ones


def top(columns: int) -> int:
    """The highest value a frame of ``columns`` columns (1 to 9) shows."""
    if not 1 <= columns <= MAX_COLUMNS:
        raise ValueError(f"a frame has 1 to {MAX_COLUMNS} columns, not {columns}")
    return int(10**columns) - 1


def digit_at(value: int, column: int) -> int:
    """The digit (0 to 9) that a frame showing ``value`` shows in ``column`` (0 is the ones)."""
    return value // int(10**column) % 10
