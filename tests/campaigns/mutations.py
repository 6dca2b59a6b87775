"""Inputs spoiled on purpose: bytes, texts and JSON that were good before."""

from __future__ import annotations

import json
from random import Random
from typing import Any

WORDS: tuple[str, ...] = (
    "", " ", "0", "-1", "1", "7", "99999", "9" * 30, "9" * 5_000, "1e308", "nan", "inf", "-0", "0x",
    "12 + 21", "12 +", "+", "1 + 2 - 9", "1/2", "١٢", "½", "direct", "five:+3", "both:+99", "ten:",
    "Asha", "Asha\x1b[2J", "a\x00b", "\ud800", "\N{RIGHT-TO-LEFT OVERRIDE}x", "é" * 300,
    "x" * 3_000,
    "../..", "/dev/null", "/nowhere/at/all", ".", "a\nb", "a\tb", "\r\n", "[", "{", '"', "'", "\\",
    "%s%n", "{0}", "<b>", "2026-01-05", "0000-00-00T99:99", "en", "tlh", "1-2", "2-1", "1..9",
)  # fmt: skip

VALUES: tuple[Any, ...] = (
    None, True, False, -1, 0, 1, 2**31, 2**63, 10**40, -0.5, 1e308, float("nan"), float("inf"),
    "", "x", "\ud800", "\x1b[2J", "9" * 400, [], {}, [None], [[[]]], {"": {}}, [1] * 50,
)  # fmt: skip


def spoiled_bytes(random: Random, good: bytes) -> bytes:
    """``good`` with a few bytes changed, moved, repeated, or its end cut off."""
    raw = bytearray(good)
    for _ in range(random.choice((1, 1, 2, 4, 16))):
        at = random.randrange(len(raw) + 1)
        until = min(len(raw), at + random.choice((1, 1, 2, 8, 200)))
        match random.randrange(6):
            case 0:
                raw[at:until] = random.randbytes(until - at)
            case 1:
                del raw[at:until]
            case 2:
                raw[at:at] = raw[at:until]
            case 3:
                raw[at:at] = random.choice(
                    (b"\x00", b"\xff\xff\xff\xff", b"PK\x03\x04", b"\n", b"fLaC")
                )
            case 4:
                raw[at:until] = random.choice((b"\x00", b"\xff", b"\x7f")) * (until - at)
            case _:
                if random.random() < 0.2:
                    del raw[at:]
    return bytes(raw)


def spoiled_text(random: Random, good: str) -> str:
    """``good`` with words, lines and characters changed."""
    text = good
    for _ in range(random.choice((1, 1, 2, 5))):
        at = random.randrange(len(text) + 1)
        until = min(len(text), at + random.choice((0, 1, 3, 20)))
        text = text[:at] + random.choice(WORDS) + text[until:]
    return text


def spoiled_json(random: Random, good: Any) -> Any:
    """A copy of ``good`` with one value or key changed, somewhere in it."""
    if isinstance(good, dict) and good and random.random() < 0.85:
        key = random.choice(list(good))
        rest = {k: v for k, v in good.items() if k != key}
        if random.random() < 0.1:
            return rest if random.random() < 0.5 else {**rest, random.choice(WORDS): good[key]}
        return {**good, key: spoiled_json(random, good[key])}
    if isinstance(good, list) and good and random.random() < 0.85:
        at = random.randrange(len(good))
        if random.random() < 0.1:
            return good[:at] if random.random() < 0.5 else good + good
        return [*good[:at], spoiled_json(random, good[at]), *good[at + 1 :]]
    return random.choice(VALUES)


def as_line(value: Any) -> bytes:
    """JSON as a file may hold it, halves of surrogate pairs as escapes."""
    return json.dumps(value).encode()
