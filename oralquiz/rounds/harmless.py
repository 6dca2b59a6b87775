"""Text from elsewhere, made fit to be shown in a terminal."""

from __future__ import annotations

from unicodedata import category

DIRECTIONS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""Embeddings, overrides and isolates of the writing direction (Unicode Annex 9, 2.1 to 2.5)."""


def without_controls(text: str) -> str:
    """``text`` without control characters, which could command a terminal, and without those that
    change the writing direction, which could make it read as something else."""
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if category(c) == "Cc" or c in DIRECTIONS else c for c in text
    )
