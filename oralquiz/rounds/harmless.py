"""Text from elsewhere, made fit to be shown in a terminal."""

from __future__ import annotations

from unicodedata import category


def without_controls(text: str) -> str:
    """``text`` without control characters, which could command a terminal."""
    return "".join("\N{REPLACEMENT CHARACTER}" if category(c) == "Cc" else c for c in text)
