"""Numbers and ranges as a teacher writes them: 5, or 4-6; 1 sum, 2 sums."""

from __future__ import annotations

import re

from oralquiz.beads import Range
from oralquiz.errors import BadInput, excerpt


def parse_range(text: str, name: str, lowest: int, highest: int | None = None) -> Range:
    """Read ``5`` or ``4-6``. Raises BadInput that names the setting."""
    match = re.fullmatch(r"(-?[0-9]{1,9})(?:\s*(?:-|–|to|\.\.)\s*(-?[0-9]{1,9}))?", text.strip())
    if match is None:
        raise BadInput(f"{name} is a number or a range such as 4-6, not {excerpt(text)}")
    low = int(match[1])
    high = int(match[2]) if match[2] else low
    if low > high:
        raise BadInput(f"{name} goes from low to high, not from {low} to {high}")
    if low < lowest or (highest is not None and high > highest):
        bounds = f"at least {lowest}" if highest is None else f"from {lowest} to {highest}"
        raise BadInput(f"{name} is {bounds}, not {excerpt(text)}")
    return low, high


def range_text(pair: Range) -> str:
    low, high = pair
    return str(low) if low == high else f"{low}-{high}"


def counted(number: int, thing: str) -> str:
    """``1 sum``, ``3 sums``."""
    return f"{number} {thing}{'' if number == 1 else 's'}"
