"""Number words of any language, by inverting a number speller (num2words)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import lru_cache

from num2words import num2words

from oralquiz.errors import ModelError
from oralquiz.listen.language import Growth

MOST_NUMBERS = 20_000
"""The most numbers that are spelled in advance."""


@lru_cache(maxsize=8)
def spelled_numbers(language: str, lowest: int, highest: int) -> SpelledNumbers:
    """The numbers of a range as num2words spells them, spelled once. Raises ModelError."""
    return SpelledNumbers(language, lowest, highest)


class SpelledNumbers:
    """The numbers ``lowest`` .. ``highest`` as num2words spells them in ``language``.

    Compared without blanks, hyphens or case, so that a decoder may divide the words in its own
    way. Raises ModelError for a language that num2words does not know.
    """

    def __init__(self, language: str, lowest: int, highest: int) -> None:
        if highest - lowest >= MOST_NUMBERS:
            raise ModelError(
                f"numbers {lowest} to {highest} in language {language!r} are too many to spell: "
                f"{MOST_NUMBERS} at most"
            )
        self.language = language
        self.spelling: dict[int, str] = {}
        try:
            for value in range(lowest, highest + 1):
                self.spelling[value] = num2words(value, lang=language)
        except NotImplementedError as error:
            raise ModelError(f"no number words are known for language {language!r}") from error
        self._value = {squeezed(words): value for value, words in self.spelling.items()}
        self._begun = {key[:length] for key in self._value for length in range(1, len(key))}

    def value(self, words: str) -> int | None:
        """The number that ``words`` spell as a whole; None for anything else."""
        return self._value.get(squeezed(words))

    def has_number(self, words: str) -> bool:
        """Whether there is a word at all: the grammar holds nothing but number words."""
        return bool(squeezed(words))

    def digit_by_digit(self, words: str) -> bool:
        """Never: such numbers are not among those that were spelled."""
        return False

    def expects_more(self, words: str) -> bool:
        """Never: which words join numbers is not known."""
        return False

    def growth(self, words: str) -> Growth:
        """What the number may still become, among all that were spelled."""
        key = squeezed(words)
        open_ = key in self._begun or key not in self._value
        return Growth.OPEN if open_ else Growth.CLOSED

    def phrases(self, known: Callable[[str], bool]) -> list[str]:
        """Each number in words that a decoder has (``known``). Raises ModelError if one cannot be
        said in them.

        A word that it lacks is put together from as few of its words as possible.
        """
        return [self._phrase(value, known) for value in self.spelling]

    def _phrase(self, value: int, known: Callable[[str], bool]) -> str:
        pieces: list[str] = []
        for word in re.findall(r"[^\s,-]+", self.spelling[value].lower()):
            parts = [word] if known(word) else min(_cuts(word, known), key=len, default=None)
            if parts is None:
                raise ModelError(
                    f"the model has no words for {value} in language {self.language!r} ({word})"
                )
            pieces += parts
        return " ".join(pieces)


def squeezed(words: str) -> str:
    """``words`` without case, blanks, hyphens, commas and unknown words."""
    return re.sub(r"\[\w+\]|<\w+>|[\s,\u00ad-]+", "", words.casefold())


def _cuts(word: str, known: Callable[[str], bool]) -> Iterator[list[str]]:
    """Every way to put ``word`` together from known words."""
    if not word:
        yield []
    for length in range(len(word), 0, -1):
        if known(word[:length]):
            for rest in _cuts(word[length:], known):
                yield [word[:length], *rest]
