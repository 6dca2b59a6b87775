"""English: spoken number words to values, and whether a number can still grow.

Numbers are compared by value, never by wording: "a hundred five", "one hundred and five" and
"one oh five" are all 105. A slip of the tongue does not count: in "forty two, no, forty five" the
last number counts.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from oralquiz.listen.language import Growth, Language

ZEROS = frozenset({"zero", "oh", "o", "nought", "naught"})
ONE_TO_NINE = "one two three four five six seven eight nine"
TEN_TO_NINETEEN = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"
TWENTY_TO_NINETY = "twenty thirty forty fifty sixty seventy eighty ninety"
DIGITS = {word: value for value, word in enumerate(ONE_TO_NINE.split(), 1)} | dict.fromkeys(
    ZEROS, 0
)
TEENS = {word: value for value, word in enumerate(TEN_TO_NINETEEN.split(), 10)}
TENS = {word: 10 * value for value, word in enumerate(TWENTY_TO_NINETY.split(), 2)}
SIGNS = frozenset({"minus", "negative"})
GLUE = frozenset({"a", "and"}) | SIGNS
"""Words that are part of a number but not numbers by themselves."""
SCALES = frozenset({"hundred", "thousand"})
A_SCALE = (["hundred"], ["thousand"])
COUNTING_WORDS = frozenset(DIGITS) | frozenset(TEENS) | frozenset(TENS) | SCALES
NUMBER_WORDS = COUNTING_WORDS | GLUE
FILLERS = frozenset({"um", "uh", "er", "erm", "ah", "eh", "hm", "hmm", "mm", "mhm"})
"""Sounds of hesitation: they neither end a number nor take one back."""
MOST_DIGITS = 9
"""The most digits of a number that is said digit by digit."""


@dataclass(frozen=True)
class EnglishNumbers:
    """English: whole or digit by digit, with or without a sign. Values are not limited to the
    range; what a number may still become is."""

    lowest: int = -9999
    highest: int = 9999

    def value(self, words: str) -> int | None:
        return parse_number(words)

    def has_number(self, words: str) -> bool:
        return any(word in COUNTING_WORDS for word in tokens(words))

    def digit_by_digit(self, words: str) -> bool:
        spoken = [word for word in _last_number(words) or [] if word not in GLUE]
        return len(spoken) > 1 and all(word in DIGITS for word in spoken)

    def expects_more(self, words: str) -> bool:
        *_, last = ("", *tokens(words))
        return last in GLUE

    def growth(self, words: str) -> Growth:
        return number_growth(words, self.lowest, self.highest)

    def phrases(self, known: Callable[[str], bool]) -> list[str]:
        from oralquiz.listen.spelled_numbers import spelled_numbers  # num2words is slow to import

        return spelled_numbers("en", self.lowest, self.highest).phrases(known)


def sound_alike(value: int) -> int | None:
    """The number that is easily heard for ``value``: 30 for 13, 13 for 30, 130 for 113.

    "Thirteen" and "thirty" differ in one unstressed ending; so does every pair up to nineteen and
    ninety, alone or after hundreds. None where there is no such pair. The sign is kept.
    """
    sign = -1 if value < 0 else 1
    hundreds, rest = divmod(abs(value), 100)
    tens, ones = divmod(rest, 10)
    if tens == 1 and ones >= 3:
        other = 10 * ones
    elif tens >= 3 and ones == 0:
        other = 10 + tens
    else:
        return None
    return sign * (100 * hundreds + other)


def tokens(words: str) -> list[str]:
    """Lower-case words: split at blanks, hyphens and punctuation; ``[unk]`` and ``<unk>`` stay."""
    return re.findall(r"[\w'\[\]<>]+", words.lower())


def parse_number(words: str) -> int | None:
    """The one number that English ``words`` say; None when they say none, or no single one.

    Other words ("it's", "[unk]", "no I mean") divide the sentence; the last number counts.
    Fillers ("um") are passed over.
    """
    last = _last_number(words)
    return None if last is None else _signed(last)


def number_growth(words: str, lowest: int, highest: int) -> Growth:
    """What the number that ``words`` end in may still become within ``lowest`` .. ``highest``.

    Words that do not end in a number may still be followed by any: OPEN.
    """
    spoken = tokens(words)
    run = _last_number(words)
    if run is None or spoken[-1] not in NUMBER_WORDS:
        return Growth.OPEN
    negative = run[0] in SIGNS
    most = -lowest if negative else highest
    run = run[negative:]
    value = _cardinal(run)
    if value is None:
        return Growth.OPEN
    if (run[-1] in TENS or run[-1] in SCALES) and value + 1 <= most:
        return Growth.OPEN
    if value > 0 and not SCALES & set(run) and 100 * value <= most:
        return Growth.OPEN  # "forty two hundred", "two thousand"
    if value > 0 and "thousand" not in run and value < 1000 and 1000 * value <= most:
        return Growth.OPEN  # "a hundred and two thousand"
    if "thousand" in run and "hundred" not in run and "and" not in run:
        hundreds = value % 1000
        if 0 < hundreds < 10 and value + 99 * hundreds <= most:
            return Growth.OPEN  # "one thousand two hundred"
    if value > 0 and all(word in DIGITS for word in run) and 10 * value <= most:
        return Growth.DIGITS
    return Growth.CLOSED


def _last_number(words: str) -> Sequence[str] | None:
    """The last run of number words that is more than glue, from its sign or first number on."""
    last: Sequence[str] | None = None
    for run in _runs(word for word in tokens(words) if word not in FILLERS):
        while run and (run[0] == "and" or (run[0] == "a" and run[1:2] not in A_SCALE)):
            run = run[1:]
        if any(word not in GLUE for word in run):
            last = run
    return last


def _runs(spoken: Iterable[str]) -> Iterator[list[str]]:
    run: list[str] = []
    for word in spoken:
        if word in NUMBER_WORDS:
            run.append(word)
        elif run:
            yield run
            run = []
    if run:
        yield run


def _signed(run: Sequence[str]) -> int | None:
    if run[0] in SIGNS:
        value = _cardinal(run[1:])
        return None if value is None else -value
    value = _cardinal(run)
    half = len(run) // 2
    if value is None and len(run) % 2 == 0 and run[:half] == run[half:]:
        return _cardinal(run[:half])  # said twice: "forty two, forty two"
    return value


def _cardinal(run: Sequence[str]) -> int | None:
    """An unsigned number, whole or digit by digit."""
    if len(run) == 1 and run[0] in ZEROS:
        return 0
    if 2 <= len(run) <= MOST_DIGITS and all(word in DIGITS for word in run):
        return int("".join(str(DIGITS[word]) for word in run))
    if "thousand" not in run:
        return _scaled(run, "hundred", 100, _below_hundred)  # "twelve hundred" too
    return _scaled(run, "thousand", 1000, _below_thousand)


def _below_thousand(run: Sequence[str]) -> int | None:
    value = _scaled(run, "hundred", 100, _below_hundred)
    return value if value is not None and value < 1000 else None


def _scaled(
    run: Sequence[str], scale: str, factor: int, below: Callable[[Sequence[str]], int | None]
) -> int | None:
    """``[how many] scale [and] rest``, or what ``below`` makes of a run without the scale."""
    if scale not in run:
        return below(run)
    at = list(run).index(scale)
    many = 1 if at == 0 or list(run[:at]) == ["a"] else below(run[:at])
    rest = run[at + 1 :]
    if list(rest[:1]) == ["and"]:
        rest = rest[1:]
        under = below(rest)
    else:
        under = below(rest) if rest else 0
    if many is None or under is None:
        return None
    return factor * many + under


def _below_hundred(run: Sequence[str]) -> int | None:
    """1..99 in one or two words."""
    if len(run) == 1:
        word = run[0]
        return TEENS.get(word) or TENS.get(word) or DIGITS.get(word) or None
    if len(run) == 2 and run[0] in TENS and run[1] in DIGITS and run[1] not in ZEROS:
        return TENS[run[0]] + DIGITS[run[1]]
    return None


LANGUAGE = Language("en", EnglishNumbers, sound_alike, FILLERS, ask_again="once more, please")
