"""Text from elsewhere, made fit to be shown in a terminal."""

from __future__ import annotations

import re

DIRECTIONS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""Embeddings, overrides and isolates of the writing direction (Unicode Annex 9, 2.1 to 2.5)."""

_COMMANDS = re.compile(f"[\x00-\x1f\x7f-\x9f{DIRECTIONS}]")


def without_controls(text: str) -> str:
    """``text`` without control characters, which could command a terminal, and without those that
    change the writing direction, which could make it read as something else."""
    return _COMMANDS.sub("\N{REPLACEMENT CHARACTER}", text)


def lines_without_controls(text: str) -> str:
    """The same for text of several lines: their ends stay."""
    return "\n".join(map(without_controls, text.split("\n")))


def json_without_controls(text: str) -> str:
    """``text``, one line of JSON, with the same characters as escapes: its value is the same."""
    return _COMMANDS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
