"""How a sum is worded when it is read aloud: number words, signs, what comes before and after."""

from __future__ import annotations

from dataclasses import dataclass

from num2words import num2words

from oralquiz.beads import Sum
from oralquiz.errors import BadInput
from oralquiz.speak.phrase_book import DictationPhrases, phrases


@dataclass(frozen=True)
class Reading:
    """The wording of a dictation.

    ``signs`` is a style of the phrase table; with ``digit_by_digit`` 34 is "three four".
    ``lead_in``, ``count_in`` and ``closing`` say whether the table's words for them are spoken.
    """

    language: str = "en"
    signs: str = "plus_minus"
    digit_by_digit: bool = False
    lead_in: bool = False
    count_in: bool = False
    closing: bool = False

    def phrases(self) -> DictationPhrases:
        return phrases(self.language)


def number_words(number: int, numbers: str = "en", digit_by_digit: bool = False) -> str:
    """A number >= 0 in words; ``numbers`` is num2words' language code. Raises BadInput."""
    if digit_by_digit:
        return " ".join(number_words(int(digit), numbers) for digit in str(number))
    try:
        words: str = num2words(number, lang=numbers)
    except NotImplementedError as error:
        raise BadInput(f"there are no number words for the language '{numbers}'") from error
    return words


def term_texts(terms: Sum, reading: Reading) -> tuple[str, ...]:
    """What is said for each term: the first plain, the others with their sign."""
    table = reading.phrases()
    added, taken = table.signs(reading.signs)
    # a sum that starts below zero can only be read with its sign
    templates = ["{n}" if terms.terms[0] > 0 else taken]
    templates += [added if term > 0 else taken for term in terms.terms[1:]]
    return tuple(
        template.format(n=number_words(abs(term), table.numbers, reading.digit_by_digit))
        for template, term in zip(templates, terms.terms, strict=True)
    )
