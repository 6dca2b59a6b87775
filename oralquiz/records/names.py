"""What may be the name of a pupil or a class."""

from __future__ import annotations

import unicodedata

JOINERS = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"
"""Part of a name between two letters, as in Persian and Malayalam (Unicode Annex 31, 2.3)."""


LONGEST = 60
"""Characters of a name at most: what the pages' fields take, so that every pupil can join."""


def clean_name(name: str) -> str:
    """A name as it is kept: without spaces around it, one space inside, each letter with its
    accent as one character (Unicode's form NFC)."""
    return unicodedata.normalize("NFC", " ".join(name.split()))


def unusable(name: str) -> str:
    """Why ``name``, cleaned, cannot be a name; empty if it can.

    Letters, marks, numbers, punctuation, symbols and spaces of every script are allowed, and so are
    joiners between letters. Characters that command a screen (controls, changes of the writing
    direction), stand for nothing, or are half a character are not.
    """
    if len(name) > LONGEST:
        return f"has more than {LONGEST} characters: {shortened(name)!r}"
    for at, char in enumerate(name):
        if char in JOINERS and _is_letter(name[at - 1 : at]) and _is_letter(name[at + 1 : at + 2]):
            continue
        if char != " " and unicodedata.category(char)[0] in "CZ":
            return f"holds a character that cannot be printed: {name!r}"
    if not any(unicodedata.category(char)[0] in "LN" for char in name):
        return f"has no letter: {name!r}"
    return ""


def shortened(name: str) -> str:
    """``name`` as it fits an error's line, whatever was given as one."""
    return name if len(name) <= LONGEST else name[: LONGEST - 1] + "…"


def _is_letter(char: str) -> bool:
    """Whether ``char`` is a letter or a mark on one; an empty string is not."""
    return char != "" and unicodedata.category(char)[0] in "LM"
