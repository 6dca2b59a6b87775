"""The number that a row of recognised words says."""

from __future__ import annotations

from collections.abc import Iterable

import units


def value_of(words: Iterable[str]) -> int | None:
    """The last number in the words: ``[unk]`` ends a number. None when there is none."""
    runs: list[list[str]] = [[]]
    for word in words:
        if word in (units.UNK, "[noise]"):
            runs.append([])
        else:
            runs[-1].append(word)
    for run in reversed(runs):
        value = _last_number(run)
        if value is not None:
            return value
    return None


def _simple(word: str) -> int | None:
    if word in units.ZEROS:
        return 0
    for names, first, step in ((units.DIGITS, 0, 1), (units.TEENS, 10, 1), (units.TENS, 20, 10)):
        if word in names:
            return first + step * names.index(word)
    return None


def _last_number(words: list[str]) -> int | None:
    """The longest end of a run of number words that is a number."""
    for at, word in enumerate(words):
        value = _parse(words[at + 1 :] if word == "minus" else words[at:])
        if value is not None:
            return -value if word == "minus" else value
    return None


def _parse(words: list[str]) -> int | None:
    if not words:
        return None
    simple = [_simple(w) for w in words]
    if all(s is not None and s < 10 for s in simple) and len(words) <= 4:
        return int("".join(str(s) for s in simple))
    total, current, last = 0, None, 10_000
    for position, (word, number) in enumerate(zip(words, simple, strict=True)):
        if word == "and":
            if position == 0 or words[position - 1] not in ("hundred", "thousand"):
                return None
        elif word == "a":
            if position or len(words) < 2 or words[1] not in ("hundred", "thousand"):
                return None
            current = 1
        elif word in ("hundred", "thousand"):
            scale = 100 if word == "hundred" else 1000
            if scale >= last or (current is not None and not 1 <= current <= 9):
                return None
            if current is None and position:
                return None
            total, current, last = total + (1 if current is None else current) * scale, None, scale
        elif number is None:
            return None
        elif current is None:
            current = number
        elif current % 10 == 0 and 20 <= current <= 90 and 1 <= number <= 9:
            current += number
        else:
            return None
    return total + (current or 0)
