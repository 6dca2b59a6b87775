"""A language that answers are heard in: its number words, sound-alikes, filler words and prompts.

A module ``languages/CODE.py`` with a ``LANGUAGE`` adds one. A language without a module of its own
has the numbers that num2words spells, and nothing else.
"""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from oralquiz.errors import ModelError


class Growth(Enum):
    """What a number that was heard may still become."""

    CLOSED = "no further word makes another number of the range"
    DIGITS = "only another digit, said digit by digit, would"
    OPEN = "a usual number of the range begins like this"


class NumberWords(Protocol):
    """The number words of one language, for answers within one range."""

    def value(self, words: str) -> int | None:
        """The one number that ``words`` say, or None."""
        ...

    def has_number(self, words: str) -> bool:
        """Whether any of the words is a number word: of one number, of several or of a part."""
        ...

    def digit_by_digit(self, words: str) -> bool:
        """Whether the number in ``words`` is said as its digits, "four two" for 42."""
        ...

    def expects_more(self, words: str) -> bool:
        """Whether ``words`` end in one that a number must follow: "a hundred and"."""
        ...

    def growth(self, words: str) -> Growth:
        """What the number that ``words`` end in may still become within the range."""
        ...

    def phrases(self, known: Callable[[str], bool]) -> list[str]:
        """Every number of the range in words that a decoder has (``known``).

        For decoders whose grammar is given at run time. Raises ModelError if one cannot be said.
        """
        ...


def no_sound_alike(value: int) -> int | None:
    """For a language in which no number is easily heard for another."""
    return None


@dataclass(frozen=True)
class Language:
    """What has to be known of a language to hear answers in it.

    ``numbers`` gives the number words for answers in lowest .. highest. ``sound_alike`` gives the
    number that people easily hear for another (30 for 13), or None. ``fillers`` are the sounds of
    hesitation, which neither end a number nor take one back. ``ask_again`` is what a pupil whose
    answer was not clear is told; empty where nobody has written it yet.
    """

    code: str
    numbers: Callable[[int, int], NumberWords]
    sound_alike: Callable[[int], int | None] = no_sound_alike
    fillers: frozenset[str] = frozenset()
    ask_again: str = ""


def find_language(code: str) -> Language:
    """The language of ``code`` ("en", "ko"). Raises ModelError for what is not a language code."""
    if re.fullmatch(r"[a-z]{2,3}([_-]\w{2,8})*", code) is None:
        raise ModelError(f"no number words are known for language {code!r}")
    name = f"oralquiz.listen.languages.{code}"
    if importlib.util.find_spec(name) is not None:
        found: Language = importlib.import_module(name).LANGUAGE
        return found
    from oralquiz.listen.spelled_numbers import spelled_numbers  # num2words takes its time

    return Language(code, lambda lowest, highest: spelled_numbers(code, lowest, highest))
